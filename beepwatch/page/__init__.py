"""The page that a phone of the household shows: served over the home network, to paired devices only.

The order of things: `names` (what is near and ours) -> `authority` (TLS) and `pairing` (who may come) -> `gate` (each
request) -> `app` (routes) with `stream` and `wire` (what is sent) and `watchers` (what was seen) -> `server` (the
thread) and `way` (for the ladder).

A program may come in place of a phone (a bedside computer). The link that `beepwatch paired --new` prints for it ends
in `#CODE~FINGERPRINT`. While the code holds: GET /authority.crt without verification, compare its SHA-256
(`authority.fingerprint`) with the one in the link, and from then on verify with it alone. POST /pair (JSON: code, name,
kind "bedside") gives the cookie. GET /events is the stream (`hello`, `now`, `events`, `unpaired`; fields in `wire`);
five seconds without a frame mean that nobody listens. POST /seen and /going name alarms by their `id`.
"""

FOLDER = "page"
"""Within the data folder: certificates and the list of paired devices."""
