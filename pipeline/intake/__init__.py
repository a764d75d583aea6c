"""From the drop folder to typed columns: collect and archive touch the disk, read and translate are pure."""
