"""`python -m pipeline` is `yardband`."""

from pipeline.cli import main

if __name__ == "__main__":
    main()
