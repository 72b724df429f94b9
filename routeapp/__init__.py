"""The project and the running of the route."""

import os

# Before numpy is loaded: our matrices are small, and threads that wait for one another in each request of a busy
# server made them twenty times slower than one thread is.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
