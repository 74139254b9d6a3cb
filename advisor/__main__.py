"""`python -m advisor`."""

from advisor.cli.main import run

if __name__ == "__main__":
    run()
