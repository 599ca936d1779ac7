"""`python -m envpredict` is the same as the command `envpredict`."""

from envpredict.cli import main

if __name__ == "__main__":
    main(prog_name="envpredict")
