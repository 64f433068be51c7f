"""From what the user has (a log sheet, a mesh, a scan) to a Log. Import the rooms one by one."""

from scans.compiled import keep_by_source

keep_by_source()
