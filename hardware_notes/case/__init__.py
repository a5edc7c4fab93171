"""The probe's case and collar as parametric solids, and the programs that check them.

`python -m hardware_notes.case --out FOLDER` writes the STL and STEP files; `python -m tests.bench.solids` checks
them. The solids need the extra: `pip install '.[solids]'`. `dimensions` needs nothing.
"""
