"""From a Log to ranked plans. Import the rooms one by one."""
