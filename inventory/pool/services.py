"""The writers of the pool, by name: what they do stands in the modules beside this one."""

from inventory.pool.booking import NotBooked, NotPooled, Stranger, Taken, TooMany, book, cancel
from inventory.pool.lending import LoanOver, NotLent, TooLong, WaitedFor, lend, renew, take_in
from inventory.pool.rules import ListedAlready, NotOneThing, add_thing, change_thing, retire_thing, set_rules

__all__ = [
    "ListedAlready",
    "LoanOver",
    "NotBooked",
    "NotLent",
    "NotOneThing",
    "NotPooled",
    "Stranger",
    "Taken",
    "TooLong",
    "TooMany",
    "WaitedFor",
    "add_thing",
    "book",
    "cancel",
    "change_thing",
    "lend",
    "renew",
    "retire_thing",
    "set_rules",
    "take_in",
]
