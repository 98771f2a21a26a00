"""The edges: watched folders, serial ports; what comes in goes to the store before anything else."""
