"""Drafts: each module builds the steps of one kind of sequence from a plant, as the structs of a sequence file.

None of them writes YAML: that is done once, in :mod:`bench.sequence.writer`. ``parts`` holds what all of them share.
"""
