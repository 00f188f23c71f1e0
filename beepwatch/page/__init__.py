"""The page that a phone of the household shows: served over the home network, to paired devices only.

The order of things: `names` (what is near and ours) -> `authority` (TLS) and `pairing` (who may come) -> `gate` (each
request) -> `app` (routes) with `stream` and `wire` (what is sent) and `watchers` (what was seen) -> `server` (the
thread) and `way` (for the ladder).
"""

FOLDER = "page"
"""Within the data folder: certificates and the list of paired devices."""
