"""From what the user has (a log sheet, a mesh, a scan) to a Log. Import the rooms one by one."""
