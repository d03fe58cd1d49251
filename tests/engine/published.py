"""Published figures that several checks use, each with its source."""

import numpy as np

# A four-cylinder, crank rpm and crank degrees; with 6 degrees initial the light reads the third row
# (fordsix.com, thread 27815).
FOUR_CYLINDER_RPM = np.array([500, 1000, 1600, 2000, 3000, 4000, 4600])
FOUR_CYLINDER_DEG = np.array([0, 2, 9, 14, 21, 28, 32])
FOUR_CYLINDER_LIGHT = np.array([6, 8, 15, 20, 27, 34, 38])
