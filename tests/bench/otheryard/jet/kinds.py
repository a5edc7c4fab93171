"""The kinds of scenes of the hiss check."""

from tests.bench.otheryard.jet import calm, leaks
from tests.bench.otheryard.kinds import Kinds

KINDS: Kinds = {**leaks.KINDS, **calm.KINDS}
