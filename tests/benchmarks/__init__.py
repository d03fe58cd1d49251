"""The benchmarks of the engine, on one core: linear algebra on several would count the time they wait."""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when NumPy is first imported, so before all others
