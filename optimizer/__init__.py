"""From a Log to ranked plans. Import the rooms one by one."""

import scans.log  # noqa: F401 - with it comes scans/__init__.py, which says where compiled kernels are kept
