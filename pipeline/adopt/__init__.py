"""Describing an export that nobody has described yet: guess, say how sure, ask, and write the block.

Everything here is pure but `run`, which reads the file and the settings and writes site.toml.
"""

from pipeline.adopt.propose import Proposal, propose
from pipeline.adopt.run import Adoption, adopt_file, append_block

__all__ = ["Adoption", "Proposal", "adopt_file", "append_block", "propose"]
