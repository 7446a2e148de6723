"""The tables, and why they are as they are.

A reading that arrives is appended to `log`, so that a commit dirties one page and not one per sensor; once an hour the
log is moved to `reading`, which is ordered by (series, t) and needs no index besides. Flash wear and file size are the
scarce resources of a small computer.

- `t`, `at`, `first`, `last`, `heard`, `changed`: wall ms since 1970 UTC.
- `value`, `offset`, `low`, `high`, `total`: whole thousandths of the unit. The finest step of the open sensor formats
  is 1/256 K, so rounding moves a value by at most 0.0005; whole numbers take two or three bytes and add up exactly.
  A value that is no number (a broken probe) is NULL.
- `how` of a row is `key + lag * 65536`. `key` leads to the table `how`: boot, arrival, quality, calibration offset,
  which few rows differ in. `lag` is heard - t in ms: 0 for a live reading without a stamp of its own (t is then when it
  was heard), else t is the sensor's own stamp. One byte where two nullable columns and a boot would take four.
- `log` also gets one row with series 0 per commit: t and value are wall and steady time of "the watcher was awake".
- `late` holds late readings that carry no stamp: measured somewhere between `first` and `last`. They are kept apart, so
  that they never mix into the roll-ups.
- `quarter` (15 min, slot = t / 900 000) is the sum of the good rows; `day` is the sum of the quarters of one local day,
  keyed by the wall ms of its midnight. Both stay when the raw rows have gone.
- `boot.lead` is wall minus steady time of that boot as last seen.
- `decision` says of each event who was told or not, and why. Its key holds the steady time and not the wall stamp, so
  that a re-stamping cannot make two rows one. A house makes a few a day, so looking by time needs no index.
"""

APPLICATION_ID = 0x67617465  # "gate" in ASCII; tells our files from other programs' (sqlite.org/pragma.html)

KEY_BITS = 16  # 65 536 combinations of boot, quality and offset: five a day for 35 years
KEY_MASK = (1 << KEY_BITS) - 1

VERSION_1 = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    "CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL)",
    """CREATE TABLE series (id INTEGER PRIMARY KEY CHECK (id > 0), sensor TEXT NOT NULL, quantity TEXT NOT NULL,
        UNIQUE (sensor, quantity))""",
    "CREATE TABLE boot (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, lead INTEGER NOT NULL)",
    """CREATE TABLE how (id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boot, arrival TEXT NOT NULL,
        quality TEXT NOT NULL, offset INTEGER NOT NULL, UNIQUE (boot, arrival, quality, offset))""",
    """CREATE TABLE log (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, t INTEGER NOT NULL, value INTEGER,
        how INTEGER NOT NULL)""",
    """CREATE TABLE reading (series INTEGER NOT NULL, t INTEGER NOT NULL, value INTEGER, how INTEGER NOT NULL,
        PRIMARY KEY (series, t)) WITHOUT ROWID""",
    """CREATE TABLE late (id INTEGER PRIMARY KEY, series INTEGER NOT NULL, first INTEGER NOT NULL,
        last INTEGER NOT NULL, heard INTEGER NOT NULL, value INTEGER, how INTEGER NOT NULL)""",
    "CREATE INDEX late_when ON late (series, first, id)",
    """CREATE TABLE quarter (series INTEGER NOT NULL, slot INTEGER NOT NULL, n INTEGER NOT NULL, low INTEGER NOT NULL,
        high INTEGER NOT NULL, total INTEGER NOT NULL, PRIMARY KEY (series, slot)) WITHOUT ROWID""",
    """CREATE TABLE day (series INTEGER NOT NULL, start INTEGER NOT NULL, n INTEGER NOT NULL, low INTEGER NOT NULL,
        high INTEGER NOT NULL, total INTEGER NOT NULL, PRIMARY KEY (series, start)) WITHOUT ROWID""",
    """CREATE TABLE event (number INTEGER PRIMARY KEY, at INTEGER NOT NULL, steady INTEGER NOT NULL,
        boot INTEGER NOT NULL REFERENCES boot, subject TEXT NOT NULL, kind TEXT NOT NULL, what TEXT NOT NULL,
        priority INTEGER NOT NULL, occurrence INTEGER NOT NULL, first INTEGER NOT NULL, who TEXT NOT NULL,
        why TEXT NOT NULL, facts TEXT NOT NULL, settings TEXT NOT NULL)""",
    "CREATE INDEX event_when ON event (at)",
    """CREATE TABLE notice (id INTEGER PRIMARY KEY, event INTEGER NOT NULL, person TEXT NOT NULL, stage TEXT NOT NULL,
        priority INTEGER NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL, at INTEGER NOT NULL,
        steady INTEGER NOT NULL, boot INTEGER NOT NULL REFERENCES boot, routes TEXT NOT NULL, subject TEXT NOT NULL,
        kind TEXT NOT NULL, UNIQUE (event, person, stage))""",
    """CREATE TABLE delivery (id INTEGER PRIMARY KEY AUTOINCREMENT, notice INTEGER NOT NULL REFERENCES notice,
        route TEXT NOT NULL, rank INTEGER NOT NULL, progress TEXT NOT NULL, attempts INTEGER NOT NULL,
        next_try INTEGER NOT NULL, maybe_sent INTEGER NOT NULL, error TEXT NOT NULL, changed INTEGER NOT NULL,
        boot INTEGER NOT NULL REFERENCES boot, UNIQUE (notice, route))""",
    "CREATE INDEX delivery_open ON delivery (id) WHERE progress IN ('waiting', 'sending')",
    """CREATE TABLE snapshot (id INTEGER PRIMARY KEY CHECK (id = 1), at INTEGER NOT NULL, steady INTEGER NOT NULL,
        boot INTEGER NOT NULL REFERENCES boot, text TEXT NOT NULL)""",
    "CREATE TABLE settings (version TEXT PRIMARY KEY, at INTEGER NOT NULL, text TEXT NOT NULL) WITHOUT ROWID",
    """CREATE TABLE answer (key TEXT PRIMARY KEY, at INTEGER NOT NULL, boot INTEGER NOT NULL REFERENCES boot,
        text TEXT NOT NULL) WITHOUT ROWID""",
    """CREATE TABLE calibration (sensor TEXT NOT NULL, quantity TEXT NOT NULL, at INTEGER NOT NULL,
        offset INTEGER NOT NULL, who TEXT NOT NULL, boot INTEGER NOT NULL REFERENCES boot,
        PRIMARY KEY (sensor, quantity, at)) WITHOUT ROWID""",
    "CREATE TABLE state (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
)

VERSION_2 = (
    # the last counter of each encrypted sensor: a replay must not pass after a restart
    "CREATE TABLE counter (sensor TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID",
)

VERSION_3 = (
    """CREATE TABLE decision (event INTEGER NOT NULL, person TEXT NOT NULL, reason TEXT NOT NULL, at INTEGER NOT NULL,
        steady INTEGER NOT NULL, boot INTEGER NOT NULL REFERENCES boot, until INTEGER,
        PRIMARY KEY (event, boot, steady, person, reason)) WITHOUT ROWID""",
)

VERSION_4 = (
    # what is in the freezers; ids of boxes are slugs that are never used again, so a box that is gone stays
    """CREATE TABLE box (id TEXT PRIMARY KEY, name TEXT NOT NULL, freezer TEXT NOT NULL, layer TEXT NOT NULL,
        place TEXT NOT NULL, "full" REAL, looked INTEGER, sure TEXT NOT NULL, gone INTEGER) WITHOUT ROWID""",
    """CREATE TABLE package (id INTEGER PRIMARY KEY, box TEXT NOT NULL REFERENCES box, food TEXT NOT NULL, count REAL,
        each REAL, frozen INTEGER, about INTEGER NOT NULL, packed TEXT NOT NULL, who TEXT NOT NULL, note TEXT NOT NULL,
        since INTEGER, fresh INTEGER NOT NULL, gone INTEGER)""",
    "CREATE INDEX package_there ON package (box) WHERE gone IS NULL",
    # every move with the row before and after as JSON, so that the last can be undone and all can be read again
    """CREATE TABLE move (id INTEGER PRIMARY KEY, at INTEGER NOT NULL, who TEXT NOT NULL, turn TEXT NOT NULL,
        "set" INTEGER NOT NULL, box TEXT, package INTEGER, before TEXT, after TEXT, why TEXT NOT NULL,
        undone INTEGER)""",
    'CREATE INDEX move_set ON move ("set")',
    # for the story of one package, and for the highest number ever given
    "CREATE INDEX move_of ON move (package) WHERE package IS NOT NULL",
    # what was found and decided after a warm spell; box or package says about which, the newest row of each counts
    """CREATE TABLE finding (id INTEGER PRIMARY KEY, excursion INTEGER NOT NULL, box TEXT, package INTEGER,
        answer TEXT, touched INTEGER, decision TEXT, ruling TEXT, rule TEXT, kg REAL, who TEXT NOT NULL,
        at INTEGER NOT NULL)""",
    "CREATE INDEX finding_of ON finding (excursion)",
    """CREATE TABLE frost (id INTEGER PRIMARY KEY, freezer TEXT NOT NULL, at INTEGER NOT NULL, mm REAL NOT NULL,
        who TEXT NOT NULL, note TEXT NOT NULL)""",
    # what was done: defrosted, battery changed, gasket looked at, ...; `subject` a freezer or sensor, facts as JSON
    """CREATE TABLE chore (id INTEGER PRIMARY KEY, subject TEXT NOT NULL, kind TEXT NOT NULL, at INTEGER NOT NULL,
        who TEXT NOT NULL, facts TEXT NOT NULL)""",
    "CREATE INDEX chore_of ON chore (subject, kind, at)",
)
