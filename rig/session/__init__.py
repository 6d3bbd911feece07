"""The live session: device to state machine to job file and screens, and the running picture."""
