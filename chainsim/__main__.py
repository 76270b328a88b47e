"""`python -m chainsim` is the command line."""

from chainsim.cli import console

if __name__ == "__main__":
    console()
