"""What the firm knows: customers, sites, machines and parts, and their look-up by spelling."""

from jobnotes.register.lookup import Lookup, NameHit
from jobnotes.register.rows import CustomerRow, MachineRow, PartRow, Register, SiteRow, load_register

__all__ = [
    "CustomerRow",
    "Lookup",
    "MachineRow",
    "NameHit",
    "PartRow",
    "Register",
    "SiteRow",
    "load_register",
]
