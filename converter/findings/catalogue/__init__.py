"""The words of every finding, by the part of the work; `converter.findings.entries` says how they are written."""

from converter.findings.catalogue import bending, bodies, cutting, dies, joints, pictures, reading, reducing, units

__all__ = ["bending", "bodies", "cutting", "dies", "joints", "pictures", "reading", "reducing", "units"]
