"""The daemon: one supervised thread a link, one bench loop that owns all state, the control socket.

    link threads ──Received, State, Line──▶┐
    control threads ──Request──────────────┤▶ one bounded queue ──▶ BenchLoop ──▶ Writer
                                                                       └──▶ Announcer ──▶ watchers

Only the bench loop touches the session and the writer, so nothing else needs a lock. Link threads
stop at the full queue: a flood is held back in the kernel, not in our memory.
"""
