"""What `service install` writes for systemd's user manager, as text. Pure.

Sources: systemd.service(5), systemd.timer(5), sd_notify(3), loginctl(1), as installed with systemd 252.
"""

from collections.abc import Sequence
from itertools import pairwise

NAME = "beepwatch.service"
EVENING = "beepwatch-evening.service"
TIMER = "beepwatch-evening.timer"
WATCHDOG = 900
"""s without sound processed after which systemd starts all anew (judgement). The second process acts within 10 s; this
is for both of them hanging, and for a deafness that only a new start mends: each start wakes again, so not sooner."""

LISTENING = """\
# Written by `beepwatch service install`; `beepwatch service remove` takes it away.
[Unit]
Description=beepwatch: an extra pair of ears at night (not a medical device)
After=pipewire-pulse.service pulseaudio.service sound.target
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart={command}
Restart=always
RestartSec=2
WatchdogSec={watchdog}
TimeoutStartSec=infinity
TimeoutStopSec=30
KillMode=mixed

[Install]
WantedBy=default.target
"""
LOOK = """\
# Written by `beepwatch service install`; `beepwatch service remove` takes it away.
[Unit]
Description=beepwatch: has tonight's listening started?

[Service]
Type=oneshot
ExecStart={command}
SuccessExitStatus=1
"""
CLOCK = """\
# Written by `beepwatch service install`; `beepwatch service remove` takes it away.
[Unit]
Description=beepwatch: each evening, has tonight's listening started?

[Timer]
OnCalendar=*-*-* {hour}:00
AccuracySec=1s

[Install]
WantedBy=timers.target
"""


def units(program: Sequence[str], options: Sequence[str], evening: str) -> dict[str, str]:
    """Unit files by name. program: how beepwatch is run; options: of `watch`; evening: "22:00", or "" for no timer."""
    made = {NAME: LISTENING.format(command=line([*program, "watch", "--guarded", *options]), watchdog=WATCHDOG)}
    if evening:
        folders = [word for pair in _pairs(options, ("--data", "--config")) for word in pair]
        made[EVENING] = LOOK.format(command=line([*program, "service", "evening", *folders]))
        made[TIMER] = CLOCK.format(hour=evening)
    return made


def line(words: Sequence[str]) -> str:
    """A command as ExecStart takes it: each word in quotation marks, with what systemd would replace written twice."""
    return " ".join(f'"{_escaped(word)}"' for word in words)


def _escaped(word: str) -> str:
    for mark, written in (("\\", "\\\\"), ('"', '\\"'), ("%", "%%"), ("$", "$$")):
        word = word.replace(mark, written)
    return word


def _pairs(options: Sequence[str], names: Sequence[str]) -> list[tuple[str, str]]:
    return [(one, value) for one, value in pairwise(options) if one in names]
