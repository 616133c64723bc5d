"""``python -m vatwright``: the same command where its script is not on the path."""

from vatwright.interfaces.cli.main import run

if __name__ == "__main__":
    run()
