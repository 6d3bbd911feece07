"""A job as a file that the next trade believes: one HTML page, a PDF beside it, and exports."""
