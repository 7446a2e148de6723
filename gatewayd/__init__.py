"""Watch freezers from a small computer: bytes in, messages out.

The way of one reading, by folder:
  sources/   hears bytes and names the sensor they came from
  decode/    turns bytes into readings, or says why not
  watch.py   steps the alarms and says what follows (with alarm/, upkeep/, message/)
  store/     keeps rows, events and messages in one SQLite file
  notify/    carries the messages out, and marks them sent only then
  door.py    lets the commands ask and order; cli/ are those commands
  daemon.py  joins the parts; demo/ is a house to try it on
"""

__version__ = "0.5.0"
