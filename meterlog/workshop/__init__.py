"""A workshop: the records of several benches in one PostgreSQL, sent on by each bench, complete on each bench.

Never imported by the daemon or the pages of a single bench; needs the extra `meterlog[workshop]`.
"""
