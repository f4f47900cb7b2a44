#!/usr/bin/python3
"""Strict iCalendar feed checker.

usage: check_feed.py [options] FILE_OR_URL
exit 0 = clean (warnings allowed unless --werror), 1 = rule broken, 2 = cannot run.

Needs Debian's python3-dateutil and tzdata; python3-icalendar, python3-vobject are used as second opinions when present.
Each finding prints as  LEVEL RULE-ID line N: text
"""
import argparse, datetime as dt, email, email.policy, gzip, hashlib, http.client, re, ssl, sys, urllib.parse
import zoneinfo
from email.utils import parsedate_to_datetime
from dateutil.rrule import rrulestr

UTC = dt.timezone.utc
FINDINGS = []
A = None  # parsed options


def err(rule, line, msg):
    FINDINGS.append(("ERROR", rule, line, msg))


def warn(rule, line, msg):
    FINDINGS.append(("WARN", rule, line, msg))


# ---------------------------------------------------------------- vocabulary
T, D, DT, DUR, U, CA, INT, FLT, REC, OFF, PER, BIN, BOOL = (
    "TEXT", "DATE", "DATE-TIME", "DURATION", "URI", "CAL-ADDRESS", "INTEGER", "FLOAT", "RECUR", "UTC-OFFSET", "PERIOD", "BINARY", "BOOLEAN")
# name: (default type or None when VALUE is mandatory, allowed types, comma list?, must be UTC?)
PROPS = {
    "CALSCALE": (T, {T}, 0, 0), "METHOD": (T, {T}, 0, 0), "PRODID": (T, {T}, 0, 0), "VERSION": (T, {T}, 0, 0),
    "ATTACH": (U, {U, BIN}, 0, 0), "CATEGORIES": (T, {T}, 1, 0), "CLASS": (T, {T}, 0, 0), "COMMENT": (T, {T}, 0, 0),
    "DESCRIPTION": (T, {T}, 0, 0), "GEO": ("GEO", {"GEO"}, 0, 0), "LOCATION": (T, {T}, 0, 0), "PERCENT-COMPLETE": (INT, {INT}, 0, 0),
    "PRIORITY": (INT, {INT}, 0, 0), "RESOURCES": (T, {T}, 1, 0), "STATUS": (T, {T}, 0, 0), "SUMMARY": (T, {T}, 0, 0),
    "COMPLETED": (DT, {DT}, 0, 1), "DTEND": (DT, {DT, D}, 0, 0), "DUE": (DT, {DT, D}, 0, 0), "DTSTART": (DT, {DT, D}, 0, 0),
    "DURATION": (DUR, {DUR}, 0, 0), "FREEBUSY": (PER, {PER}, 1, 1), "TRANSP": (T, {T}, 0, 0), "TZID": (T, {T}, 0, 0),
    "TZNAME": (T, {T}, 0, 0), "TZOFFSETFROM": (OFF, {OFF}, 0, 0), "TZOFFSETTO": (OFF, {OFF}, 0, 0), "TZURL": (U, {U}, 0, 0),
    "ATTENDEE": (CA, {CA}, 0, 0), "CONTACT": (T, {T}, 0, 0), "ORGANIZER": (CA, {CA}, 0, 0), "RECURRENCE-ID": (DT, {DT, D}, 0, 0),
    "RELATED-TO": (T, {T, "UID", U}, 0, 0), "URL": (U, {U}, 0, 0), "UID": (T, {T}, 0, 0), "EXDATE": (DT, {DT, D}, 1, 0),
    "RDATE": (DT, {DT, D, PER}, 1, 0), "RRULE": (REC, {REC}, 0, 0), "ACTION": (T, {T}, 0, 0), "REPEAT": (INT, {INT}, 0, 0),
    "TRIGGER": (DUR, {DUR, DT}, 0, 0), "CREATED": (DT, {DT}, 0, 1), "DTSTAMP": (DT, {DT}, 0, 1), "LAST-MODIFIED": (DT, {DT}, 0, 1),
    "SEQUENCE": (INT, {INT}, 0, 0), "REQUEST-STATUS": ("ANY", {T}, 0, 0),
    # RFC 7986
    "NAME": (T, {T}, 0, 0), "REFRESH-INTERVAL": (None, {DUR}, 0, 0), "SOURCE": (None, {U}, 0, 0), "COLOR": (T, {T}, 0, 0),
    "IMAGE": (None, {U, BIN}, 0, 0), "CONFERENCE": (None, {U}, 0, 0),
    # RFC 7953, 9073, 9074, 9253, 7529/7808
    "BUSYTYPE": (T, {T}, 0, 0), "ACKNOWLEDGED": (DT, {DT}, 0, 1), "PROXIMITY": (T, {T}, 0, 0), "CONCEPT": (U, {U}, 0, 0),
    "LINK": (None, {U, "UID", "XML-REFERENCE"}, 0, 0), "REFID": (T, {T}, 0, 0), "STYLED-DESCRIPTION": (None, {U, T}, 0, 0),
    "STRUCTURED-DATA": (None, {U, BIN, T}, 0, 0), "LOCATION-TYPE": (T, {T}, 1, 0), "PARTICIPANT-TYPE": (T, {T}, 0, 0),
    "RESOURCE-TYPE": (T, {T}, 0, 0), "CALENDAR-ADDRESS": (CA, {CA}, 0, 0), "TZUNTIL": (DT, {DT}, 0, 1), "TZID-ALIAS-OF": (T, {T}, 0, 0),
}
ALARM_PROPS = {"ACTION", "TRIGGER"}
# component: (required exactly once, at most once, allowed children)
EV_ONCE = "DTSTART CLASS CREATED DESCRIPTION GEO LAST-MODIFIED LOCATION ORGANIZER PRIORITY SEQUENCE STATUS SUMMARY TRANSP URL RECURRENCE-ID RRULE DTEND DURATION COLOR UID DTSTAMP".split()
COMPS = {
    "VCALENDAR": (["PRODID", "VERSION"], "CALSCALE METHOD UID LAST-MODIFIED URL REFRESH-INTERVAL SOURCE COLOR".split(),
                  {"VEVENT", "VTODO", "VJOURNAL", "VFREEBUSY", "VTIMEZONE", "VAVAILABILITY", "VPOLL"}),
    "VEVENT": (["UID", "DTSTAMP"], EV_ONCE, {"VALARM", "PARTICIPANT", "VLOCATION", "VRESOURCE"}),
    "VTODO": (["UID", "DTSTAMP"], [p for p in EV_ONCE if p not in ("DTEND", "TRANSP")] + ["DUE", "COMPLETED", "PERCENT-COMPLETE"], {"VALARM", "PARTICIPANT", "VLOCATION", "VRESOURCE"}),
    "VJOURNAL": (["UID", "DTSTAMP"], "CLASS CREATED DTSTART LAST-MODIFIED ORGANIZER RECURRENCE-ID SEQUENCE STATUS SUMMARY URL RRULE COLOR".split(), {"PARTICIPANT", "VLOCATION", "VRESOURCE"}),
    "VFREEBUSY": (["UID", "DTSTAMP"], "CONTACT DTSTART DTEND ORGANIZER URL".split(), {"PARTICIPANT", "VLOCATION", "VRESOURCE"}),
    "VTIMEZONE": (["TZID"], ["LAST-MODIFIED", "TZURL", "TZUNTIL"], {"STANDARD", "DAYLIGHT"}),
    "STANDARD": (["DTSTART", "TZOFFSETFROM", "TZOFFSETTO"], ["RRULE"], set()),
    "DAYLIGHT": (["DTSTART", "TZOFFSETFROM", "TZOFFSETTO"], ["RRULE"], set()),
    "VALARM": (["ACTION", "TRIGGER"], "DURATION REPEAT UID ACKNOWLEDGED PROXIMITY".split(), {"VLOCATION"}),
    "VAVAILABILITY": (["UID", "DTSTAMP"], "BUSYTYPE CLASS CREATED DESCRIPTION DTSTART LAST-MODIFIED LOCATION ORGANIZER PRIORITY SEQUENCE SUMMARY URL DTEND DURATION".split(), {"AVAILABLE"}),
    "AVAILABLE": (["UID", "DTSTAMP", "DTSTART"], "CREATED DESCRIPTION LAST-MODIFIED LOCATION RECURRENCE-ID RRULE SUMMARY DTEND DURATION".split(), set()),
    "PARTICIPANT": (["UID", "PARTICIPANT-TYPE"], ["CALENDAR-ADDRESS"], {"VLOCATION", "VRESOURCE"}),
    "VLOCATION": (["UID"], ["NAME", "LOCATION-TYPE", "GEO", "URL"], set()), "VRESOURCE": (["UID"], ["NAME", "RESOURCE-TYPE"], set()),
}
STATUS = {"VEVENT": {"TENTATIVE", "CONFIRMED", "CANCELLED"}, "VTODO": {"NEEDS-ACTION", "COMPLETED", "IN-PROCESS", "CANCELLED"}, "VJOURNAL": {"DRAFT", "FINAL", "CANCELLED"}}
METHODS = {"PUBLISH", "REQUEST", "REPLY", "ADD", "CANCEL", "REFRESH", "COUNTER", "DECLINECOUNTER"}
RELTYPES = {"PARENT", "CHILD", "SIBLING", "SNOOZE", "CONCEPT", "DEPENDS-ON", "FINISHTOFINISH", "FINISHTOSTART", "FIRST", "NEXT", "REFID", "STARTTOFINISH", "STARTTOSTART"}
CSS3 = set("""aliceblue antiquewhite aqua aquamarine azure beige bisque black blanchedalmond blue blueviolet brown burlywood cadetblue chartreuse chocolate coral
cornflowerblue cornsilk crimson cyan darkblue darkcyan darkgoldenrod darkgray darkgreen darkgrey darkkhaki darkmagenta darkolivegreen darkorange darkorchid darkred darksalmon
darkseagreen darkslateblue darkslategray darkslategrey darkturquoise darkviolet deeppink deepskyblue dimgray dimgrey dodgerblue firebrick floralwhite forestgreen fuchsia gainsboro
ghostwhite gold goldenrod gray green greenyellow grey honeydew hotpink indianred indigo ivory khaki lavender lavenderblush lawngreen lemonchiffon lightblue lightcoral lightcyan
lightgoldenrodyellow lightgray lightgreen lightgrey lightpink lightsalmon lightseagreen lightskyblue lightslategray lightslategrey lightsteelblue lightyellow lime limegreen linen
magenta maroon mediumaquamarine mediumblue mediumorchid mediumpurple mediumseagreen mediumslateblue mediumspringgreen mediumturquoise mediumvioletred midnightblue mintcream
mistyrose moccasin navajowhite navy oldlace olive olivedrab orange orangered orchid palegoldenrod palegreen paleturquoise palevioletred papayawhip peachpuff peru pink plum
powderblue purple red rosybrown royalblue saddlebrown salmon sandybrown seagreen seashell sienna silver skyblue slateblue slategray slategrey snow springgreen steelblue tan teal
thistle tomato turquoise violet wheat white whitesmoke yellow yellowgreen""".split())


class Prop:
    __slots__ = ("name", "params", "value", "line", "vtype")

    def __init__(s, name, params, value, line):
        s.name, s.params, s.value, s.line, s.vtype = name, params, value, line, None

    def par(s, n):
        v = s.params.get(n)
        return v[0] if v else None


class Comp:
    def __init__(s, name, line, parent=None):
        s.name, s.line, s.parent, s.props, s.children = name, line, parent, [], []

    def all(s, n):
        return [p for p in s.props if p.name == n]

    def get(s, n):
        for p in s.props:
            if p.name == n:
                return p

    def val(s, n):
        p = s.get(n)
        return p.value if p else None


# ---------------------------------------------------------------- layer A: bytes and lines
def to_lines(raw):
    if raw.startswith(b"\xef\xbb\xbf"):
        err("A-BOM", 1, "starts with a byte order mark; the first octets must be BEGIN:VCALENDAR")
        raw = raw[3:]
    bare_lf = re.search(rb"(?<!\r)\n", raw)
    bare_cr = re.search(rb"\r(?!\n)", raw)
    if bare_lf:
        err("A-CRLF", raw[:bare_lf.start()].count(b"\n") + 1, "bare LF; every line must end with CR LF")
    if bare_cr:
        err("A-CRLF", raw[:bare_cr.start()].count(b"\n") + 1, "bare CR")
    if raw and not raw.endswith(b"\r\n"):
        err("A-CRLF", raw.count(b"\n") + 1, "last line is not terminated by CR LF")
    phys = re.split(rb"\r\n|\n|\r", raw)
    if phys and phys[-1] == b"":
        phys.pop()
    logical = []
    for i, l in enumerate(phys, 1):
        if len(l) > 75:
            err("A-FOLD75", i, "physical line of %d octets (limit 75): %s..." % (len(l), l[:30].decode("utf-8", "replace")))
        try:
            l.decode("utf-8")
        except UnicodeDecodeError as e:
            err("A-UTF8", i, "line is not valid UTF-8 by itself (bad bytes, or a fold inside a character): %s" % e.reason)
        if re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", l):
            err("A-CONTROL", i, "control character in content line")
        if l == b"":
            err("A-EMPTYLINE", i, "empty line inside the stream")
            continue
        if l[:1] in (b" ", b"\t"):
            if not logical:
                err("A-FOLDSTART", i, "first line is a continuation")
                continue
            logical[-1][1] += l[1:]
        else:
            logical.append([i, bytearray(l)])
    out = []
    for i, b in logical:
        out.append((i, bytes(b).decode("utf-8", "replace")))
    return out


# ---------------------------------------------------------------- layer B: content-line grammar
NAME = re.compile(r"[A-Za-z0-9-]+\Z")


def parse_line(n, s):
    i, L = 0, len(s)
    while i < L and s[i] not in ";:":
        i += 1
    name = s[:i]
    if i >= L or not NAME.match(name):
        err("B-GRAMMAR", n, "not a content line (name, colon expected): %r" % s[:40])
        return None
    params = {}
    while i < L and s[i] == ";":
        j = i + 1
        while j < L and s[j] not in "=;:":
            j += 1
        pn = s[i + 1:j]
        if j >= L or s[j] != "=" or not NAME.match(pn):
            err("B-PARAM", n, "malformed parameter near %r" % s[i:i + 25])
            return None
        i = j + 1
        vals = []
        while True:
            if i < L and s[i] == '"':
                j = s.find('"', i + 1)
                if j < 0:
                    err("B-PARAM", n, "unterminated quoted parameter value in %s" % pn)
                    return None
                vals.append(s[i + 1:j])
                i = j + 1
            else:
                j = i
                while j < L and s[j] not in ';:,"':
                    j += 1
                if j < L and s[j] == '"':
                    err("B-PARAM", n, "double quote inside an unquoted parameter value (RFC 6868 needs ^')")
                    return None
                vals.append(s[i:j])
                i = j
            if i < L and s[i] == ",":
                i += 1
                continue
            break
        if i >= L or s[i] not in ";:":
            err("B-PARAM", n, "junk after the value of parameter %s" % pn)
            return None
        for v in vals:
            if re.search(r"\^(?![n^'])", v):
                warn("B-CARET", n, "caret not followed by n ^ or ' in %s (RFC 6868)" % pn)
            if "\\n" in v:
                warn("B-CARET", n, "backslash-n in parameter %s is literal text; RFC 6868 uses ^n" % pn)
        key = pn.upper()
        if key in params:
            err("B-PARAMDUP", n, "parameter %s given twice" % key)
        params[key] = vals
    if i >= L or s[i] != ":":
        err("B-GRAMMAR", n, "no colon after name and parameters")
        return None
    return Prop(name.upper(), params, s[i + 1:], n)


def build_tree(lines):
    roots, cur = [], None
    for n, s in lines:
        p = parse_line(n, s)
        if p is None:
            continue
        if p.name == "BEGIN":
            c = Comp(p.value.upper(), n, cur)
            (cur.children if cur else roots).append(c)
            cur = c
        elif p.name == "END":
            if cur is None or cur.name != p.value.upper():
                err("B-NEST", n, "END:%s does not close %s" % (p.value, cur.name if cur else "anything"))
                if cur is None:
                    continue
            cur = cur.parent
        elif cur is None:
            err("B-NEST", n, "property %s outside any component" % p.name)
        else:
            cur.props.append(p)
    if cur is not None:
        err("B-NEST", cur.line, "BEGIN:%s is never closed (truncated feed?)" % cur.name)
    if not roots:
        err("B-NEST", 1, "no component at all")
    for r in roots:
        if r.name != "VCALENDAR":
            err("B-ROOT", r.line, "top-level component is %s" % r.name)
    if len(roots) > 1:
        err("B-ROOT", roots[1].line, "more than one top-level component in the stream")
    return roots


# ---------------------------------------------------------------- layer D: values
DATE_RE = re.compile(r"(\d{4})(\d\d)(\d\d)\Z")
DT_RE = re.compile(r"(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)(Z?)\Z")
DUR_RE = re.compile(r"([+-]?)P(?:(\d+)W|(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?)\Z")


def p_date(s):
    m = DATE_RE.match(s)
    try:
        return dt.date(*map(int, m.groups())) if m else None
    except ValueError:
        return None


def p_dt(s):
    m = DT_RE.match(s)
    if not m:
        return None
    try:
        y, mo, d, h, mi, se = map(int, m.groups()[:6])
        v = dt.datetime(y, mo, d, h, mi, min(se, 59))
        return (v, m.group(7) == "Z") if se <= 60 else None
    except ValueError:
        return None


def p_dur(s):
    m = DUR_RE.match(s)
    if not m or s.endswith(("P", "T")) or not any(m.groups()[1:]):
        return None
    h, mi, se = m.group(4), m.group(5), m.group(6)
    if h and se and not mi:
        return None  # grammar: PT1H30S is not allowed
    w, d = int(m.group(2) or 0), int(m.group(3) or 0)
    t = dt.timedelta(weeks=w, days=d), dt.timedelta(hours=int(h or 0), minutes=int(mi or 0), seconds=int(se or 0))
    sg = -1 if m.group(1) == "-" else 1
    return sg * t[0], sg * t[1]  # nominal days, exact time


def check_text(p, s, multi):
    for m in re.finditer(r"\\(.?)", s, re.S):
        if m.group(1) not in ("\\", ";", ",", "n", "N"):
            err("D-ESCAPE", p.line, "%s: invalid escape %r" % (p.name, m.group(0)))
    bare = re.sub(r"\\.", "", s)
    if ";" in bare:
        err("D-ESCAPE", p.line, "%s: unescaped semicolon in TEXT" % p.name)
    if "," in bare and not multi:
        err("D-ESCAPE", p.line, "%s: unescaped comma in a single TEXT value" % p.name)
    if s != s.strip(" \t"):
        warn("D-SPACE", p.line, "%s: leading or trailing white space" % p.name)
    if re.search(r"(?i)<(br|p|div|b|a )", s) and p.name in ("DESCRIPTION", "SUMMARY"):
        warn("D-HTML", p.line, "%s contains HTML tags" % p.name)


def is_uri(v):
    return re.match(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+\Z", v) is not None


def check_value(c, p):
    spec = PROPS.get(p.name)
    if spec is None:
        if not p.name.startswith("X-"):
            err("B-UNKNOWN", p.line, "unknown property %s (neither registered nor X-)" % p.name)
        return
    dflt, allowed, multi, utc = spec
    v = p.par("VALUE")
    if v is not None:
        v = v.upper()
    if dflt is None and v is None:
        err("D-VALUEPARAM", p.line, "%s has no default type; VALUE= is required" % p.name)
        v = sorted(allowed)[0] if len(allowed) == 1 else None
    if v is not None and v not in allowed:
        err("D-VALUEPARAM", p.line, "%s cannot be VALUE=%s" % (p.name, v))
        return
    t = p.vtype = v or dflt
    vals = p.value.split(",") if multi and t not in (T,) else [p.value]
    tzid = p.par("TZID")
    if tzid is not None and t in (D, T, DUR):
        err("D-TZID", p.line, "TZID on a %s value" % t)
    for s in vals:
        if t == T:
            check_text(p, s, multi)
        elif t == D:
            if p_date(s) is None:
                err("D-DATE", p.line, "%s: bad DATE %r" % (p.name, s))
        elif t == DT:
            r = p_dt(s)
            if r is None:
                err("D-DATETIME", p.line, "%s: bad DATE-TIME %r" % (p.name, s))
                continue
            z = r[1]
            if z and tzid is not None:
                err("D-TZID", p.line, "%s has TZID and a UTC value" % p.name)
            if utc and not z:
                err("D-UTC", p.line, "%s must be in UTC (…Z)" % p.name)
            if c.name in ("STANDARD", "DAYLIGHT") and p.name in ("DTSTART", "RDATE") and (z or tzid):
                err("F-ONSETLOCAL", p.line, "observance %s must be local time without TZID" % p.name)
            if not utc and not z and tzid is None and c.name not in ("STANDARD", "DAYLIGHT") and not A.allow_floating:
                err("D-FLOATING", p.line, "%s is a floating time (no Z, no TZID)" % p.name)
            if tzid is not None and (tzid.strip() == "" or tzid in ("Local", "local")):
                err("D-TZID", p.line, "TZID is %r" % tzid)
        elif t == DUR:
            if p_dur(s) is None:
                err("D-DURATION", p.line, "%s: bad DURATION %r" % (p.name, s))
        elif t in (U, CA):
            if not is_uri(s):
                err("D-URI", p.line, "%s is not an absolute URI: %r" % (p.name, s[:40]))
            elif t == CA and s.lower().startswith("mailto:") and not re.match(r"(?i)mailto:[^@\s]+@[^@\s]+\Z", s):
                err("D-URI", p.line, "%s: bad mailto address" % p.name)
        elif t == INT:
            if not re.match(r"[+-]?\d+\Z", s) or not -2**31 <= int(s) < 2**31:
                err("D-INTEGER", p.line, "%s: bad INTEGER %r" % (p.name, s))
        elif t == OFF:
            if not re.match(r"[+-]\d{4}(\d\d)?\Z", s) or s in ("-0000", "-000000") or int(s[3:5]) > 59 or int(s[1:3]) > 23:
                err("D-OFFSET", p.line, "%s: bad UTC-OFFSET %r" % (p.name, s))
        elif t == PER:
            ab = s.split("/")
            a = p_dt(ab[0]) if len(ab) == 2 else None
            b = a and (p_dt(ab[1]) or p_dur(ab[1]))
            if not b:
                err("D-PERIOD", p.line, "bad PERIOD %r" % s)
            elif utc and not a[1]:
                err("D-UTC", p.line, "%s periods must be UTC" % p.name)
            elif p_dt(ab[1]) and p_dt(ab[1])[0] <= a[0]:
                err("D-PERIOD", p.line, "period ends before it starts: %r" % s)
        elif t == "GEO":
            m = re.match(r"([+-]?\d+(?:\.\d+)?);([+-]?\d+(?:\.\d+)?)\Z", s)
            if not m or abs(float(m.group(1))) > 90 or abs(float(m.group(2))) > 180:
                err("D-GEO", p.line, "GEO must be lat;lon with a bare semicolon, got %r" % s)
        elif t == BIN:
            if (p.par("ENCODING") or "").upper() != "BASE64":
                err("D-BINARY", p.line, "BINARY needs ENCODING=BASE64")
    up = p.value.upper()
    if p.name == "VERSION" and p.value != "2.0":
        err("C-VERSION", p.line, "VERSION must be 2.0, is %r" % p.value)
    if p.name == "CALSCALE" and up != "GREGORIAN":
        err("C-CALSCALE", p.line, "CALSCALE %r" % p.value)
    if p.name == "METHOD" and up not in METHODS:
        err("C-METHOD", p.line, "unknown METHOD %r" % p.value)
    if p.name == "STATUS" and up not in STATUS.get(c.name, set()):
        err("D-STATUS", p.line, "STATUS:%s is not valid in %s" % (p.value, c.name))
    if p.name == "TRANSP" and up not in ("OPAQUE", "TRANSPARENT"):
        err("D-TRANSP", p.line, "TRANSP:%s" % p.value)
    if p.name == "CLASS" and not re.match(r"(PUBLIC|PRIVATE|CONFIDENTIAL|X-[A-Z0-9-]+)\Z", up):
        err("D-CLASS", p.line, "CLASS:%s" % p.value)
    if p.name == "SEQUENCE" and re.match(r"-", p.value):
        err("D-SEQUENCE", p.line, "negative SEQUENCE")
    if p.name == "PRIORITY" and re.match(r"\d+\Z", p.value) and int(p.value) > 9:
        err("D-PRIORITY", p.line, "PRIORITY above 9")
    if p.name == "COLOR" and p.value.lower() not in CSS3:
        err("D-COLOR", p.line, "COLOR must be a CSS3 colour name, got %r" % p.value)
    if p.name == "REFRESH-INTERVAL" and (r := p_dur(p.value)) and r[0] + r[1] <= dt.timedelta(0):
        err("D-REFRESH", p.line, "REFRESH-INTERVAL must be positive")
    if p.name == "UID" and len(p.value.encode()) > 255:
        warn("D-UIDLEN", p.line, "UID longer than 255 octets")
    if p.name == "UID" and not p.value.strip():
        err("C-UID", p.line, "empty UID")
    if p.name == "RELATED-TO":
        rt = (p.par("RELTYPE") or "PARENT").upper()
        if rt not in RELTYPES and not rt.startswith("X-"):
            err("D-RELTYPE", p.line, "unknown RELTYPE %s" % rt)
        g = p.par("GAP")
        if g is not None:
            if p_dur(g) is None:
                err("D-GAP", p.line, "GAP is not a DURATION: %r" % g)
            if rt in ("PARENT", "CHILD", "SIBLING"):
                warn("D-GAP", p.line, "GAP with RELTYPE=%s has no defined meaning (RFC 9253 uses it with the temporal types)" % rt)
    if p.name == "ATTENDEE":
        ps = (p.par("PARTSTAT") or "NEEDS-ACTION").upper()
        if ps not in ("NEEDS-ACTION", "ACCEPTED", "DECLINED", "TENTATIVE", "DELEGATED", "COMPLETED", "IN-PROCESS") and not ps.startswith("X-"):
            err("D-PARTSTAT", p.line, "PARTSTAT=%s" % ps)
    for x in A.forbid:
        if re.search(x, p.value) or any(re.search(x, y) for vs in p.params.values() for y in vs):
            err("P-FORBIDDEN", p.line, "%s matches forbidden pattern /%s/" % (p.name, x))


# ---------------------------------------------------------------- layer G: recurrence rules
FREQS = ["SECONDLY", "MINUTELY", "HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY"]
BYR = {"BYSECOND": (0, 60, 0), "BYMINUTE": (0, 59, 0), "BYHOUR": (0, 23, 0), "BYMONTHDAY": (1, 31, 1), "BYYEARDAY": (1, 366, 1), "BYWEEKNO": (1, 53, 1), "BYMONTH": (1, 12, 0), "BYSETPOS": (1, 366, 1)}


def check_rrule(c, p):
    parts, ok = {}, True
    for s in p.value.split(";"):
        k, eq, v = s.partition("=")
        if not eq or not v or k in parts:
            err("G-RRULE", p.line, "bad or repeated rule part %r" % s)
            return
        parts[k] = v
    f = parts.get("FREQ")
    if f not in FREQS:
        err("G-RRULE", p.line, "FREQ missing or unknown")
        return
    for k, v in parts.items():
        if k in BYR:
            lo, hi, neg = BYR[k]
            for x in v.split(","):
                if not re.match(r"[+-]?\d+\Z", x) or not (lo <= int(x) <= hi or (neg and lo <= -int(x) <= hi)):
                    err("G-RRULE", p.line, "%s value %r out of range" % (k, x))
                    ok = False
        elif k == "BYDAY":
            for x in v.split(","):
                m = re.match(r"([+-]?\d{1,2})?(MO|TU|WE|TH|FR|SA|SU)\Z", x)
                if not m or (m.group(1) and not 1 <= abs(int(m.group(1))) <= 53):
                    err("G-RRULE", p.line, "BYDAY value %r" % x)
                    ok = False
                elif m.group(1) and (f not in ("MONTHLY", "YEARLY") or (f == "YEARLY" and "BYWEEKNO" in parts)):
                    err("G-RRULE", p.line, "numeric BYDAY not allowed with FREQ=%s" % f)
        elif k in ("INTERVAL", "COUNT"):
            if not re.match(r"[1-9]\d*\Z", v):
                err("G-RRULE", p.line, "%s must be a positive integer" % k)
                ok = False
        elif k == "WKST":
            if v not in ("MO", "TU", "WE", "TH", "FR", "SA", "SU"):
                err("G-RRULE", p.line, "WKST=%s" % v)
        elif k not in ("FREQ", "UNTIL", "RSCALE", "SKIP"):
            err("G-RRULE", p.line, "unknown rule part %s" % k)
            ok = False
    if "COUNT" in parts and "UNTIL" in parts:
        err("G-RRULE", p.line, "COUNT and UNTIL together")
    if "BYWEEKNO" in parts and f != "YEARLY" or "BYYEARDAY" in parts and f in ("DAILY", "WEEKLY", "MONTHLY") or "BYMONTHDAY" in parts and f == "WEEKLY":
        err("G-RRULE", p.line, "BYxxx part not allowed with FREQ=%s" % f)
    if "BYSETPOS" in parts and not any(k.startswith("BY") and k != "BYSETPOS" for k in parts):
        err("G-RRULE", p.line, "BYSETPOS alone")
    if f in ("SECONDLY", "MINUTELY"):
        warn("G-FREQ", p.line, "FREQ=%s is rarely supported" % f)
    ds = c.get("DTSTART")
    if ds is None:
        err("G-RRULE", p.line, "RRULE without DTSTART")
        return
    isdate = ds.vtype == D
    u = parts.get("UNTIL")
    until = None
    if u:
        if isdate:
            until = p_date(u)
            if until is None:
                err("G-UNTIL", p.line, "UNTIL must be a DATE because DTSTART is")
        else:
            r = p_dt(u)
            want_z = c.name in ("STANDARD", "DAYLIGHT") or ds.value.endswith("Z") or ds.par("TZID")
            if r is None or (want_z and not r[1]):
                err("G-UNTIL", p.line, "UNTIL must be a UTC DATE-TIME here, got %r" % u)
            else:
                until = r[0]
    if not ok:
        return
    # DTSTART must be an instance of the rule
    start = p_date(ds.value) if isdate else (p_dt(ds.value) or (None,))[0]
    if start is None:
        return
    naive = dt.datetime.combine(start, dt.time()) if isdate else start
    try:
        r = rrulestr(";".join("%s=%s" % kv for kv in parts.items() if kv[0] not in ("UNTIL", "RSCALE", "SKIP")), dtstart=naive)
        first = next(iter(r), None)
        if first != naive:
            err("G-SYNC", p.line, "DTSTART is not an instance of its RRULE (first instance would be %s)" % first)
    except Exception as e:  # noqa
        err("G-RRULE", p.line, "rule cannot be expanded: %s" % e)


def expand_naive(c, limit):
    """naive start instants of the recurrence set of an event (before EXDATE), at most `limit`."""
    ds = c.get("DTSTART")
    isdate = ds.vtype == D
    start = p_date(ds.value) if isdate else (p_dt(ds.value) or (None,))[0]
    if start is None:
        return []
    naive = dt.datetime.combine(start, dt.time()) if isdate else start
    rr = c.get("RRULE")
    if not rr:
        return [naive]
    try:
        rule = ";".join(x for x in rr.value.split(";") if not x.startswith(("RSCALE", "SKIP", "UNTIL")))
        r = rrulestr(rule, dtstart=naive)
    except Exception:
        return [naive]
    u = next((x[6:] for x in rr.value.split(";") if x.startswith("UNTIL=")), None)
    until = None
    if u:
        x = p_dt(u)
        until = x[0] + dt.timedelta(hours=14) if x else dt.datetime.combine(p_date(u), dt.time(23, 59)) if p_date(u) else None
    out = []
    for x in r:
        if (until and x > until) or len(out) >= limit or x.year > A.horizon:
            break
        out.append(x)
    return out


# ---------------------------------------------------------------- layer F: VTIMEZONE
def off_td(s):
    sg = -1 if s[0] == "-" else 1
    return sg * dt.timedelta(hours=int(s[1:3]), minutes=int(s[3:5]), seconds=int(s[5:7] or 0))


class Vtz:
    def __init__(s, comp, horizon):
        s.comp, s.onsets = comp, []  # (utc naive, from, to, name)
        for o in comp.children:
            ds, f, t = o.get("DTSTART"), o.get("TZOFFSETFROM"), o.get("TZOFFSETTO")
            if not (ds and f and t) or not p_dt(ds.value):
                continue
            try:
                f, t = off_td(f.value), off_td(t.value)
            except Exception:
                continue
            name = o.val("TZNAME")
            base = p_dt(ds.value)[0]
            loc = [base]
            rr = o.get("RRULE")
            if rr:
                parts = [x for x in rr.value.split(";")]
                u = next((x[6:] for x in parts if x.startswith("UNTIL=")), None)
                ul = None
                if u and p_dt(u):
                    x, z = p_dt(u)
                    ul = x + f if z else x
                try:
                    for x in rrulestr(";".join(y for y in parts if not y.startswith("UNTIL=")), dtstart=base):
                        if x.year > horizon or (ul and x > ul):
                            break
                        loc.append(x)
                except Exception as e:
                    err("F-RRULE", rr.line, "observance rule cannot be expanded: %s" % e)
            for rd in o.all("RDATE"):
                for x in rd.value.split(","):
                    if p_dt(x):
                        loc.append(p_dt(x)[0])
            for x in set(loc):
                s.onsets.append((x - f, f, t, name))
        s.onsets.sort(key=lambda a: a[0])

    def at(s, utc):
        best = None
        for o in s.onsets:
            if o[0] <= utc:
                best = o
            else:
                break
        return best

    def offset(s, utc):
        o = s.at(utc)
        return o[2] if o else None

    def to_utc(s, wall):
        """RFC 5545 3.3.5: first occurrence when ambiguous, offset before the gap when non-existent."""
        offs = sorted({o[2] for o in s.onsets} | {o[1] for o in s.onsets})
        good = sorted(wall - f for f in offs if s.offset(wall - f) == f)
        if good:
            return good[0], "overlap" if len(good) > 1 else ""
        cand = [wall - f for f in offs if s.offset(wall - f) is not None]
        if not cand:
            return None, "undefined"
        f = s.offset(min(cand))
        return wall - f, "gap"


def z_off(z, utc):
    return utc.replace(tzinfo=UTC).astimezone(z).utcoffset()


def z_transitions(z, a, b):
    out, t = [], a
    cur = z_off(z, t)
    while t < b:
        n = min(t + dt.timedelta(hours=12), b)
        o = z_off(z, n)
        if o != cur:
            lo, hi = t, n
            while hi - lo > dt.timedelta(seconds=1):
                mid = lo + (hi - lo) // 2
                mid = mid.replace(microsecond=0)
                if mid <= lo:
                    break
                if z_off(z, mid) == cur:
                    lo = mid
                else:
                    hi = mid
            out.append(hi)
            cur = o
        t = n
    return out


def check_vtz(v, a, b, uses):
    """v: Vtz; compare with zoneinfo on [a, b] (naive UTC) and at each used wall time."""
    tzid = v.comp.val("TZID")
    line = v.comp.line
    if not v.onsets:
        return
    for x, y in zip(v.onsets, v.onsets[1:]):
        if x[2] != y[1] and y[0] <= b:
            err("F-CHAIN", line, "%s: onset %s has TZOFFSETFROM %s but the offset then in force is %s" % (tzid, y[0], y[1], x[2]))
            break
    try:
        z = zoneinfo.ZoneInfo(tzid)
    except Exception:
        (warn if A.custom_tz else err)("F-UNKNOWNTZ", line, "TZID %r is not an IANA zone; cannot be checked against zoneinfo" % tzid)
        z = None
    for wall, ln in uses:
        u, why = v.to_utc(wall)
        if u is None:
            err("F-RANGE", ln, "%s gives no offset for %s (first onset is %s UTC)" % (tzid, wall, v.onsets[0][0]))
            continue
        if why == "gap":
            err("F-GAP", ln, "local time %s does not exist in %s" % (wall, tzid))
        elif why == "overlap":
            warn("F-OVERLAP", ln, "local time %s is ambiguous in %s (means the first one)" % (wall, tzid))
        if z and why != "gap":
            zu = wall.replace(tzinfo=z, fold=0).astimezone(UTC).replace(tzinfo=None)
            if zu != u:
                err("F-OFFSET", ln, "%s in %s: VTIMEZONE says %sZ, tz database says %sZ" % (wall, tzid, u, zu))
    if z and a < b:
        pts = {a, b}
        for t in z_transitions(z, a, b):
            pts |= {t - dt.timedelta(seconds=1), t}
        for o in v.onsets:
            if a <= o[0] <= b:
                pts |= {o[0] - dt.timedelta(seconds=1), o[0]}
        bad = 0
        for t in sorted(pts):
            w, g = z_off(z, t), v.offset(t)
            if g != w:
                err("F-OFFSET", line, "%s at %sZ: VTIMEZONE offset %s, tz database %s" % (tzid, t, g, w))
                bad += 1
                if bad >= 3:
                    break
            elif not bad:
                o = v.at(t)
                nm = t.replace(tzinfo=UTC).astimezone(z).tzname()
                if o and o[3] and o[3] != nm and not nm[0] in "+-":
                    warn("F-TZNAME", line, "%s at %sZ: TZNAME %s, tz database %s" % (tzid, t, o[3], nm))


# ---------------------------------------------------------------- layers C, E, H: components
def check_comp(c):
    spec = COMPS.get(c.name)
    if spec is None:
        if not c.name.startswith("X-"):
            err("C-COMPONENT", c.line, "unknown component %s" % c.name)
        return
    req, once, kids = spec
    for n in req:
        k = len(c.all(n))
        if k != 1:
            err("C-REQUIRED", c.line, "%s needs exactly one %s, has %d" % (c.name, n, k))
    for n in once:
        if n not in req and len(c.all(n)) > 1:
            err("C-ONCE", c.all(n)[1].line, "%s has %d %s properties" % (c.name, len(c.all(n)), n))
    for k in c.children:
        if k.name not in kids and not k.name.startswith("X-"):
            err("C-CHILD", k.line, "%s inside %s" % (k.name, c.name))
    for p in c.props:
        check_value(c, p)
    for k in c.children:
        check_comp(k)
    if c.name == "VTIMEZONE" and not c.children:
        err("C-REQUIRED", c.line, "VTIMEZONE without STANDARD or DAYLIGHT")
    if c.name in ("STANDARD", "DAYLIGHT") and c.get("RRULE") and c.get("RDATE"):
        warn("F-RRULERDATE", c.line, "observance with both RRULE and RDATE (iTIP forbids it)")
    for p in c.all("RRULE"):
        check_rrule(c, p)
    if c.name == "VALARM":
        act = (c.val("ACTION") or "").upper()
        tr = c.get("TRIGGER")
        if act == "DISPLAY" and len(c.all("DESCRIPTION")) != 1:
            err("H-ALARM", c.line, "DISPLAY alarm needs one DESCRIPTION")
        if act == "EMAIL" and not (len(c.all("DESCRIPTION")) == len(c.all("SUMMARY")) == 1 and c.all("ATTENDEE")):
            err("H-ALARM", c.line, "EMAIL alarm needs DESCRIPTION, SUMMARY and ATTENDEE")
        if act == "AUDIO" and len(c.all("ATTACH")) > 1:
            err("H-ALARM", c.line, "AUDIO alarm with several ATTACH")
        if bool(c.get("DURATION")) != bool(c.get("REPEAT")):
            err("H-ALARM", c.line, "DURATION and REPEAT must come together")
        if tr is not None:
            if tr.vtype == DT and not tr.value.endswith("Z"):
                err("H-TRIGGER", tr.line, "absolute TRIGGER must be UTC")
            if tr.vtype == DT and tr.par("RELATED"):
                err("H-TRIGGER", tr.line, "RELATED on an absolute TRIGGER")
            if (tr.par("RELATED") or "").upper() == "END" and not (c.parent.get("DTEND") or c.parent.get("DURATION") or c.parent.get("DUE")):
                err("H-TRIGGER", tr.line, "RELATED=END but the event has neither DTEND nor DURATION")
            if (tr.par("RELATED") or "START").upper() not in ("START", "END"):
                err("H-TRIGGER", tr.line, "RELATED=%s" % tr.par("RELATED"))


def end_of(c):
    """(start, end, kind) naive as written; kind D or DT; end None when unknown"""
    ds, de, du = c.get("DTSTART"), c.get("DTEND"), c.get("DURATION")
    if ds is None:
        return None
    if ds.vtype == D:
        s = p_date(ds.value)
        if s is None:
            return None
        e = p_date(de.value) if de else None
        if du and p_dur(du.value):
            e = s + p_dur(du.value)[0]
        return s, e or s + dt.timedelta(days=1), D
    r = p_dt(ds.value)
    if r is None:
        return None
    e = p_dt(de.value)[0] if de and p_dt(de.value) else None
    if du and p_dur(du.value):
        x = p_dur(du.value)
        e = r[0] + x[0] + x[1]
    return r[0], e, DT


def check_calendar(cal):
    check_comp(cal)
    if not cal.children:
        err("C-EMPTY", cal.line, "a calendar must contain at least one component (an empty feed can carry just a VTIMEZONE)")
    method = (cal.val("METHOD") or "").upper()
    prof = A.profile
    if prof == "caldav" and method:
        err("C-METHOD", cal.get("METHOD").line, "METHOD is not allowed in a CalDAV resource (RFC 4791 4.1)")
    if prof == "imip" and not method:
        err("C-METHOD", cal.line, "an iTIP message needs METHOD")
    if prof == "feed" and method not in ("", "PUBLISH"):
        err("C-METHOD", cal.get("METHOD").line, "a published feed cannot have METHOD:%s" % method)
    evs = [c for c in cal.children if c.name in ("VEVENT", "VTODO", "VJOURNAL")]
    if prof == "feed":
        if not cal.get("NAME"):
            warn("C-NAME", cal.line, "no NAME (RFC 7986); phones then show the URL or PRODID as the calendar's name")
        if cal.get("NAME") and cal.val("X-WR-CALNAME") not in (None, cal.val("NAME")):
            err("C-NAME", cal.get("NAME").line, "NAME and X-WR-CALNAME differ")
        if not cal.val("X-WR-CALNAME"):
            warn("C-NAME", cal.line, "no X-WR-CALNAME (older clients read only that)")
        if cal.get("UID"):
            err("C-CALUID", cal.get("UID").line, "calendar-level UID (RFC 7986 5.3): vdirsyncer 0.19 then stores all events as one item")
        if not cal.get("REFRESH-INTERVAL"):
            warn("C-REFRESH", cal.line, "no REFRESH-INTERVAL")
        ttl = cal.get("X-PUBLISHED-TTL")
        if ttl and cal.get("REFRESH-INTERVAL") and p_dur(ttl.value) != p_dur(cal.val("REFRESH-INTERVAL")):
            err("C-REFRESH", ttl.line, "X-PUBLISHED-TTL and REFRESH-INTERVAL differ")
        wtz = cal.get("X-WR-TIMEZONE")
        if wtz:
            try:
                zoneinfo.ZoneInfo(wtz.value)
            except Exception:
                err("C-WRTZ", wtz.line, "X-WR-TIMEZONE %r is not an IANA zone" % wtz.value)
    # time zones
    tzs, used = {}, {}
    for c in cal.children:
        if c.name == "VTIMEZONE" and c.val("TZID") is not None:
            if c.val("TZID") in tzs:
                err("F-DUP", c.line, "two VTIMEZONEs for %s" % c.val("TZID"))
            tzs[c.val("TZID")] = c

    def walk(c):
        yield c
        for k in c.children:
            yield from walk(k)
    for c in walk(cal):
        for p in c.props:
            z = p.par("TZID")
            if z is not None and c.name not in ("VTIMEZONE", "STANDARD", "DAYLIGHT"):
                walls = []
                for s in p.value.split(","):
                    r = p_dt(s.split("/")[0])
                    if r:
                        walls.append((r[0], p.line))
                used.setdefault(z, []).extend(walls)
                if z not in tzs:
                    err("F-MISSING", p.line, "TZID=%s has no VTIMEZONE" % z)
        if c.name in ("VEVENT", "AVAILABLE", "VTODO") and c.get("DTSTART") and c.get("DTSTART").par("TZID") and c.get("RRULE"):
            z = c.get("DTSTART").par("TZID")
            used.setdefault(z, []).extend((w, c.get("RRULE").line) for w in expand_naive(c, 3000))
    for z, c in tzs.items():
        walls = used.get(z, [])
        if not walls:
            if evs:
                warn("F-UNUSED", c.line, "VTIMEZONE %s is not used" % z)
            if A.tz_range:
                a, b = dt.datetime(A.tz_range[0], 1, 1), dt.datetime(A.tz_range[1], 12, 31)
            else:
                a = b = dt.datetime.utcnow()
        else:
            a, b = min(w for w, _ in walls) - dt.timedelta(days=1), max(w for w, _ in walls) + dt.timedelta(days=1)
            if A.tz_range:
                a, b = min(a, dt.datetime(A.tz_range[0], 1, 1)), max(b, dt.datetime(A.tz_range[1], 12, 31))
        v = Vtz(c, max(b.year + 2, A.horizon))
        # the day before the first use may lie before the first onset: only used wall times must be covered
        if v.onsets and not A.tz_range and walls:
            a = max(a, v.onsets[0][0])
        check_vtz(v, a, b, sorted(set(walls)))
        n = 2 + sum(2 + len(o.props) for o in c.children) + len(c.props)
        if n > 150:
            warn("F-SIZE", c.line, "VTIMEZONE %s has %d lines (a web calendar is reported to garble feeds past about 200)" % (z, n))
    # components
    seen, byuid = {}, {}
    for c in evs:
        key = (c.val("UID"), c.val("RECURRENCE-ID"))
        if c.val("UID") is not None:
            if key in seen:
                err("E-UIDDUP", c.line, "UID %s%s used twice (first at line %d)" % (key[0], " RECURRENCE-ID " + key[1] if key[1] else "", seen[key]))
            seen[key] = c.line
            byuid.setdefault(c.val("UID"), []).append(c)
    if prof in ("caldav", "imip") and len(byuid) > 1:
        err("E-ONEUID", cal.line, "%d different UIDs in one %s object" % (len(byuid), prof))
    now = A.now
    alarm_uids = set()
    for c in evs:
        ds, de, du = c.get("DTSTART"), c.get("DTEND"), c.get("DURATION")
        if c.name == "VEVENT" and ds is None and (not method or method in ("PUBLISH", "REQUEST", "ADD")):
            err("C-REQUIRED", c.line, "VEVENT without DTSTART")
        if de and du:
            err("C-ENDDUR", c.line, "both DTEND and DURATION")
        se = end_of(c)
        if ds and de and ds.vtype != de.vtype:
            err("D-TYPEPAIR", de.line, "DTSTART is %s, DTEND is %s" % (ds.vtype, de.vtype))
        elif se and se[1] is not None and de and ds and de.par("TZID") == ds.par("TZID") and de.value.endswith("Z") == ds.value.endswith("Z") and se[1] <= se[0]:
            err("D-ENDORDER", de.line, "DTEND is not after DTSTART")
        if ds and de and ds.vtype == DT and de.par("TZID") != ds.par("TZID"):
            warn("D-MIXEDTZ", de.line, "DTSTART and DTEND in different zones")
        if du and p_dur(du.value):
            x = p_dur(du.value)
            if x[0] + x[1] <= dt.timedelta(0):
                err("D-DURATION", du.line, "DURATION must be positive")
            if ds and ds.vtype == D and x[1]:
                err("D-TYPEPAIR", du.line, "DURATION with hours on an all-day event")
        if c.name == "VEVENT" and ds and ds.vtype == DT and not de and not du and method not in ("CANCEL", "REPLY"):
            err("D-NOEND", c.line, "timed VEVENT without DTEND or DURATION (it would last 0 seconds)")
        if not method and c.val("LAST-MODIFIED") and c.val("DTSTAMP") and c.val("LAST-MODIFIED") != c.val("DTSTAMP"):
            err("D-DTSTAMP", c.get("DTSTAMP").line, "without METHOD, DTSTAMP means last revision and must equal LAST-MODIFIED")
        for n in ("DTSTAMP", "LAST-MODIFIED", "CREATED"):
            r = p_dt(c.val(n) or "")
            if r and r[0] > now + dt.timedelta(minutes=5):
                err("D-FUTURE", c.get(n).line, "%s is in the future" % n)
        st = (c.val("STATUS") or "").upper()
        seq = int(c.val("SEQUENCE")) if re.match(r"\d+\Z", c.val("SEQUENCE") or "") else 0
        if st == "CANCELLED" and seq < 1:
            err("E-SEQUENCE", c.line, "STATUS:CANCELLED with SEQUENCE 0; cancelling is a revision")
        if prof == "feed":
            if not c.val("SUMMARY"):
                err("C-SUMMARY", c.line, "no SUMMARY; phones show 'New event' or nothing")
            if c.get("SEQUENCE") is None or c.get("LAST-MODIFIED") is None:
                err("E-SEQUENCE", c.line, "feed events need SEQUENCE and LAST-MODIFIED (some clients ignore changes without them)")
            if c.name == "VEVENT" and not c.get("TRANSP"):
                warn("D-TRANSP", c.line, "no TRANSP; say busy or free outright")
            if c.all("ATTENDEE"):
                err("P-ATTENDEE", c.get("ATTENDEE").line, "ATTENDEE in a subscription feed")
            if method == "PUBLISH" and not c.get("ORGANIZER"):
                err("C-PUBLISH", c.line, "METHOD:PUBLISH needs ORGANIZER in each VEVENT (RFC 5546 3.2.1)")
            bs = c.val("X-MICROSOFT-CDO-BUSYSTATUS")
            if bs and ((c.val("TRANSP") or "OPAQUE").upper() == "TRANSPARENT") != (bs.upper() in ("FREE", "WORKINGELSEWHERE")):
                err("D-TRANSP", c.line, "TRANSP and X-MICROSOFT-CDO-BUSYSTATUS disagree")
        for p in c.all("EXDATE") + c.all("RECURRENCE-ID"):
            if ds and p.vtype != ds.vtype:
                err("G-EXDATE", p.line, "%s type %s differs from DTSTART type %s" % (p.name, p.vtype, ds.vtype))
            elif ds and p.name == "EXDATE" and p.par("TZID") == ds.par("TZID") and c.get("RRULE"):
                inst = set(expand_naive(c, 5000))
                for s in p.value.split(","):
                    r = p_dt(s)
                    x = r[0] if r else (dt.datetime.combine(p_date(s), dt.time()) if p_date(s) else None)
                    if x and x not in inst:
                        err("G-EXDATE", p.line, "EXDATE %s removes no instance" % s)
        for p in c.all("RELATED-TO"):
            if p.vtype != U and p.value not in byuid:
                (warn if A.external_relations else err)("E-RELATED", p.line, "RELATED-TO points at %s, which is not in this feed" % p.value)
            if p.value == c.val("UID"):
                err("E-RELATED", p.line, "event related to itself")
        for a in c.children:
            if a.name == "VALARM" and a.val("UID"):
                if a.val("UID") in alarm_uids or a.val("UID") in byuid:
                    err("H-ALARMUID", a.line, "alarm UID repeated (RFC 9074)")
                alarm_uids.add(a.val("UID"))
        if c.val("UID") and re.search(r"(?i)@(localhost|127\.0\.0\.1|\[?::1\]?)?$", c.val("UID")) and "@" in c.val("UID"):
            err("C-UID", c.get("UID").line, "UID right-hand side is empty or local: not globally unique")
        if c.val("UID") and re.match(r"\d{1,9}\Z", c.val("UID")):
            err("C-UID", c.get("UID").line, "UID is a bare small number: not globally unique")
        for n in ("SUMMARY", "DESCRIPTION", "LOCATION"):
            if c.get(n) and "\ufffd" in c.val(n):
                warn("A-UTF8", c.get(n).line, "%s contains U+FFFD (text was damaged before)" % n)
    # overlapping busy blocks
    if A.no_overlap:
        bl = []
        for c in evs:
            if c.name == "VEVENT" and (c.val("TRANSP") or "OPAQUE").upper() == "OPAQUE" and (c.val("STATUS") or "").upper() != "CANCELLED" and not c.get("RRULE"):
                se = end_of(c)
                if se and se[2] == DT and se[1]:
                    z = c.get("DTSTART").par("TZID")
                    f = (lambda w: Vtz(tzs[z], A.horizon).to_utc(w)[0]) if z in tzs else (lambda w: w)
                    a, b = f(se[0]), f(se[1])
                    if a and b:
                        bl.append((a, b, c))
        bl.sort(key=lambda x: x[0])
        for (a, b, c), (a2, b2, c2) in zip(bl, bl[1:]):
            if a2 < b:
                err("E-OVERLAP", c2.line, "busy blocks overlap: %s and %s" % (c.val("UID"), c2.val("UID")))
    # free/busy
    for c in cal.children:
        if c.name == "VFREEBUSY":
            last = None
            for p in c.all("FREEBUSY"):
                for s in p.value.split(","):
                    a = p_dt(s.split("/")[0])
                    if a and last and a[0] < last:
                        warn("D-FREEBUSY", p.line, "periods not in ascending order")
                    if a:
                        last = a[0]
            for n in ("DTSTART", "DTEND"):
                if c.get(n) and not c.val(n).endswith("Z"):
                    err("D-UTC", c.get(n).line, "VFREEBUSY %s must be UTC" % n)
            if c.all("RRULE"):
                err("C-CHILD", c.line, "RRULE in VFREEBUSY")
    # iTIP
    if prof == "imip" and method:
        for c in evs:
            if len(c.all("ORGANIZER")) != 1:
                err("I-ORGANIZER", c.line, "%s needs exactly one ORGANIZER" % method)
            if method in ("REQUEST", "CANCEL", "REPLY") and not c.all("ATTENDEE"):
                err("I-ATTENDEE", c.line, "%s needs ATTENDEE" % method)
            if method == "REPLY" and len(c.all("ATTENDEE")) != 1:
                err("I-ATTENDEE", c.line, "REPLY carries exactly one ATTENDEE")
            if method == "CANCEL" and c.get("SEQUENCE") is None:
                err("I-SEQUENCE", c.line, "CANCEL needs SEQUENCE")
            if method == "CANCEL" and (c.val("STATUS") or "").upper() not in ("CANCELLED", ""):
                err("I-STATUS", c.line, "CANCEL with STATUS:%s" % c.val("STATUS"))
            if method == "REQUEST" and not c.val("SUMMARY"):
                err("I-SUMMARY", c.line, "REQUEST needs SUMMARY")
            if method == "CANCEL" and seq_of(c) < 1:
                err("I-SEQUENCE", c.line, "CANCEL must raise SEQUENCE")
            if method == "CANCEL" and c.children:
                err("I-ALARM", c.line, "VALARM in CANCEL")
    return evs


def seq_of(c):
    v = c.val("SEQUENCE") or ""
    return int(v) if v.isdigit() else 0


# ---------------------------------------------------------------- second opinions
def peers(raw):
    try:
        import icalendar
        try:
            cal = icalendar.Calendar.from_ical(raw)
            for c in cal.walk():
                if getattr(c, "errors", None):
                    err("Z-ICALENDAR", 0, "python icalendar: %s" % (c.errors[0],))
        except Exception as e:
            err("Z-ICALENDAR", 0, "python icalendar refuses the feed: %s" % e)
    except ImportError:
        pass
    try:
        import vobject
        try:
            for o in vobject.readComponents(raw.decode("utf-8")):
                o.validate(raiseException=True)
        except Exception as e:
            # vobject insists on one of its own zone rules; keep only real refusals
            err("Z-VOBJECT", 0, "vobject refuses the feed: %s" % str(e)[:150])
    except ImportError:
        pass


# ---------------------------------------------------------------- iMIP envelope
def from_eml(raw):
    m = email.message_from_bytes(raw, policy=email.policy.default)
    parts = [p for p in m.walk() if p.get_content_type() == "text/calendar"]
    if len(parts) != 1:
        err("M-PART", 0, "message must have exactly one text/calendar part, has %d" % len(parts))
        if not parts:
            return b""
    p = parts[0]
    meth, cs = p.get_param("method"), p.get_param("charset")
    body = p.get_payload(decode=True)
    bm = re.search(rb"(?im)^METHOD:(\S+)", body)
    if not meth:
        err("M-METHOD", 0, "text/calendar part lacks the method parameter (RFC 6047 2.4)")
    elif not bm or bm.group(1).decode().upper() != str(meth).upper():
        err("M-METHOD", 0, "method=%s but body says %s" % (meth, bm and bm.group(1).decode()))
    if not cs or str(cs).lower() not in ("utf-8", "us-ascii"):
        err("M-CHARSET", 0, "charset parameter must be UTF-8 (is %r)" % cs)
    alts = [x for x in m.walk() if x.get_content_type() == "multipart/alternative"]
    if not alts or p not in list(alts[0].iter_parts()):
        warn("M-ALT", 0, "text/calendar is not an alternative beside text/plain; some mail clients then show no buttons")
    elif not any(x.get_content_type() == "text/plain" for x in alts[0].iter_parts()):
        err("M-ALT", 0, "no text/plain alternative")
    if p.get_content_disposition() == "attachment":
        err("M-ALT", 0, "the scheduling part must not be Content-Disposition: attachment")
    org = re.search(rb"(?im)^ORGANIZER[^:\r\n]*(?::[^:\r\n]*)*?mailto:([^\r\n]+)", re.sub(rb"\r?\n[ \t]", b"", body))
    frm = str(m["from"] or "")
    if org and str(meth).upper() in ("REQUEST", "CANCEL") and org.group(1).decode().strip().lower() not in (frm + str(m["sender"] or "") + str(m["reply-to"] or "")).lower():
        warn("M-FROM", 0, "ORGANIZER address is in neither From, Sender nor Reply-To")
    return body


# ---------------------------------------------------------------- layer I: HTTP
def http_check(url):
    u = urllib.parse.urlsplit(url.replace("webcal://", "http://").replace("webcals://", "https://"))
    path = (u.path or "/") + ("?" + u.query if u.query else "")

    def req(method="GET", **h):
        C = http.client.HTTPSConnection if u.scheme == "https" else http.client.HTTPConnection
        kw = {"timeout": 15}
        if u.scheme == "https":
            kw["context"] = ssl.create_default_context()
        c = C(u.hostname, u.port, **kw)
        hd = {"User-Agent": "check_feed/1", "Accept": "text/calendar, */*;q=0.1"}
        hd.update({k.replace("_", "-"): v for k, v in h.items()})
        c.request(method, path, headers=hd)
        r = c.getresponse()
        b = r.read()
        c.close()
        return r, b

    r, b = req()
    if r.status != 200:
        err("N-STATUS", 0, "GET gives %d" % r.status)
        return b""
    ct = r.getheader("Content-Type") or ""
    if ct.split(";")[0].strip().lower() != "text/calendar":
        err("N-TYPE", 0, "Content-Type is %r" % ct)
    if "charset=utf-8" not in ct.lower().replace('"', "").replace(" ", ""):
        err("N-TYPE", 0, "Content-Type lacks charset=utf-8")
    et, lm, cc = r.getheader("ETag"), r.getheader("Last-Modified"), r.getheader("Cache-Control") or ""
    if not et:
        err("N-ETAG", 0, "no ETag")
    elif not re.match(r'(W/)?"[\x21\x23-\x7e]*"\Z', et):
        err("N-ETAG", 0, "malformed ETag %r" % et)
    if not lm:
        err("N-LASTMOD", 0, "no Last-Modified (some phones revalidate by date only)")
    else:
        try:
            if parsedate_to_datetime(lm) > dt.datetime.now(UTC) + dt.timedelta(seconds=60):
                err("N-LASTMOD", 0, "Last-Modified in the future")
        except Exception:
            err("N-LASTMOD", 0, "Last-Modified is not an HTTP date: %r" % lm)
    if "private" not in cc and "no-store" not in cc:
        err("N-CACHE", 0, "a secret per-person feed needs Cache-Control: private (is %r)" % cc)
    if "no-store" in cc:
        warn("N-CACHE", 0, "no-store forbids revalidation")
    if r.getheader("Set-Cookie"):
        err("N-COOKIE", 0, "feed sets a cookie")
    if "noindex" not in (r.getheader("X-Robots-Tag") or ""):
        warn("N-ROBOTS", 0, "no X-Robots-Tag: noindex")
    if len(b) > A.max_bytes:
        err("N-SIZE", 0, "body of %d octets (limit %d)" % (len(b), A.max_bytes))
    r2, b2 = req()
    if b2 != b:
        err("N-STABLE", 0, "two GETs in a row give different bodies (now() in DTSTAMP? map order?)")
    elif et and r2.getheader("ETag") != et:
        err("N-STABLE", 0, "same body, different ETag")
    if et:
        r3, b3 = req(If_None_Match=et)
        if r3.status != 304:
            err("N-304", 0, "If-None-Match with the current ETag gives %d" % r3.status)
        elif b3:
            err("N-304", 0, "304 with a body")
        elif r3.getheader("ETag") != et:
            err("N-304", 0, "304 does not repeat the ETag")
        r3, _ = req(If_None_Match='"x", W/' + et.replace("W/", ""))
        if r3.status != 304:
            err("N-304", 0, "If-None-Match list / weak form of the tag gives %d" % r3.status)
        r3, _ = req(If_None_Match='"nope"')
        if r3.status != 200:
            err("N-304", 0, "If-None-Match with another tag gives %d" % r3.status)
        if lm:
            r3, _ = req(If_None_Match='"nope"', If_Modified_Since=lm)
            if r3.status != 200:
                err("N-304", 0, "If-None-Match must win over If-Modified-Since (got %d)" % r3.status)
    if lm:
        r3, _ = req(If_Modified_Since=lm)
        if r3.status != 304:
            err("N-304", 0, "If-Modified-Since with the current date gives %d" % r3.status)
        for bad in ("Thu, 01 Jan 1970 00:00:00 GMT", "not a date"):
            r3, _ = req(If_Modified_Since=bad)
            if r3.status != 200:
                err("N-304", 0, "If-Modified-Since: %s gives %d" % (bad, r3.status))
    r4, b4 = req("HEAD")
    if r4.status != 200 or b4:
        err("N-HEAD", 0, "HEAD gives %d with %d octets" % (r4.status, len(b4)))
    elif (r4.getheader("ETag"), r4.getheader("Content-Type")) != (et, ct):
        err("N-HEAD", 0, "HEAD headers differ from GET")
    elif r4.getheader("Content-Length") not in (None, str(len(b))):
        err("N-HEAD", 0, "HEAD Content-Length %s, body %d" % (r4.getheader("Content-Length"), len(b)))
    r5, b5 = req(Accept_Encoding="gzip")
    ce = r5.getheader("Content-Encoding")
    if ce == "gzip":
        try:
            if gzip.decompress(b5) != b:
                err("N-GZIP", 0, "gzip body differs from the plain one")
        except Exception as e:
            err("N-GZIP", 0, "broken gzip: %s" % e)
        if "accept-encoding" not in (r5.getheader("Vary") or "").lower():
            err("N-GZIP", 0, "compressed answer without Vary: Accept-Encoding")
        e5 = r5.getheader("ETag")
        if et and not et.startswith("W/") and e5 == et:
            err("N-GZIP", 0, "same strong ETag for gzip and plain bodies")
        if e5:
            r6, _ = req(Accept_Encoding="gzip", If_None_Match=e5)
            if r6.status != 304:
                err("N-GZIP", 0, "gzip client cannot revalidate its ETag (got %d)" % r6.status)
    elif len(b) > 20000:
        warn("N-GZIP", 0, "no gzip for a body of %d octets" % len(b))
    r7, _ = req("POST")
    if r7.status not in (405, 404, 403, 501):
        err("N-METHOD", 0, "POST gives %d, expected 405" % r7.status)
    return b


def run(target):
    if re.match(r"(?i)(https?|webcals?)://", target):
        raw = http_check(target)
    else:
        raw = open(target, "rb").read()
        if target.endswith(".eml"):
            A.profile = "imip"
            raw = from_eml(raw)
    if raw:
        lines = to_lines(raw)
        for r in build_tree(lines):
            if r.name == "VCALENDAR":
                check_calendar(r)
        if A.peers:
            peers(raw)


def main():
    global A
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("target")
    ap.add_argument("--profile", choices=["feed", "caldav", "imip"], default="feed")
    ap.add_argument("--allow-floating", action="store_true")
    ap.add_argument("--custom-tz", action="store_true", help="accept TZIDs unknown to zoneinfo")
    ap.add_argument("--external-relations", action="store_true")
    ap.add_argument("--no-overlap", action="store_true", help="busy blocks must not overlap (one person's day)")
    ap.add_argument("--tz-range", type=int, nargs=2, metavar=("Y1", "Y2"), help="VTIMEZONEs must be right over these whole years")
    ap.add_argument("--horizon", type=int, default=2040)
    ap.add_argument("--forbid", action="append", default=[], metavar="REGEX", help="must not occur in any value (privacy)")
    ap.add_argument("--now", help="pretend clock, 20261125T120000Z")
    ap.add_argument("--max-bytes", type=int, default=1 << 20)
    ap.add_argument("--peers", action="store_true", help="second opinions from python icalendar and vobject")
    ap.add_argument("--werror", action="store_true")
    ap.add_argument("--quiet", action="store_true")
    A = ap.parse_args()
    A.now = p_dt(A.now)[0] if A.now else dt.datetime.utcnow()
    try:
        run(A.target)
    except (OSError, http.client.HTTPException) as e:
        print("cannot read %s: %s" % (A.target, e), file=sys.stderr)
        sys.exit(2)
    FINDINGS.sort(key=lambda f: (f[0], f[2]))
    ne = sum(f[0] == "ERROR" for f in FINDINGS)
    nw = len(FINDINGS) - ne
    for lv, rule, line, msg in FINDINGS:
        if lv == "ERROR" or not A.quiet:
            print("%-5s %-12s %s %s" % (lv, rule, "line %d:" % line if line else "-", msg))
    print("%s: %d error(s), %d warning(s)" % ("FAIL" if ne or (A.werror and nw) else "OK", ne, nw))
    sys.exit(1 if ne or (A.werror and nw) else 0)


if __name__ == "__main__":
    main()
