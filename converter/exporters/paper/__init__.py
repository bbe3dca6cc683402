"""What stands on a sheet of paper at full size: figures, sticks, wrap templates, before they are DXF or PDF."""
