"""A job in, answers out: floor, plan, patch, markers, pour plan, proof, spacing, laser budget."""
