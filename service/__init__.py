"""What people touch: the command line, and the files it reads and writes."""

import os

# Before NumPy is imported, as its linear algebra then starts its threads; processes started from here inherit it. On a
# busy machine two threads wait for one another: fitting a fork took several times as long as with one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
