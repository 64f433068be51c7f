"""From a Log to ranked plans. Import the rooms one by one."""

import scans.log  # noqa: F401 - says where compiled kernels are kept, which must come before the first of them
