"""Instruments: what they are (profiles), how they talk (dialogue), how bytes reach them (transports), what they do.

Reading order: ``profile`` (the file format); in ``wire`` ``framing`` and ``dialogue`` (bytes in, replies out);
``ports`` (how bytes travel); in ``wire`` again ``conversation`` (the two together, against a clock) and ``interpret``
(what a reply means); ``session`` and ``instrument`` (identify, configure, read, make safe); ``bench_file`` (which
instruments a bench has).

Nothing here believes a number because it parses. A reply must be whole, match its profile's pattern from end to end,
answer the question that was asked last, carry the function and range that were set, and lie where that range can show
it. After any doubt the line is suspect and no reading is taken until the instrument has proven who it is again.
"""
