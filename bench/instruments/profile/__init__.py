"""Profiles: how a family of instruments talks and how accurate it is, as data."""
