"""A hub of the home, by MQTT 5: how it stands, each alarm, a heartbeat; and the answer "I am going". Off by default.

Below the topic of the settings (default `beepwatch`):

| topic | retained | what |
|---|---|---|
| `link` | yes | `up`, or `down`: the last will, where beepwatch or its network is gone |
| `state` | yes | `{"hearing": "listening", "since": ..., "alarms": [...]}` at each change |
| `alarm` | yes | the most urgent open alarm, or `{"alarm": null}` |
| `heartbeat` | no | each 5 s `{"count": 7, "hearing": "listening", "at": ...}` |
| `call` | no | somebody is to be woken now, by the ladder's step `hub` |
| `going` | must not be | from the hub: `{"alarm": ID, "at": ...}` says that somebody goes |

Nothing of it carries a name of the family. Hubs differ: what they do with it is theirs.
"""
