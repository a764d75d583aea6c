"""Settings: leachbook.toml, policy.toml and site.toml as models; every mistake named with file and key."""

from pipeline.errors import SettingsError, SettingsProblem
from pipeline.settings.containers import CONTAINER_DEFAULTS, ContainerRule
from pipeline.settings.in_force import PolicyInForce, merge_policy
from pipeline.settings.load import check_home, load_group, load_settings, resolve_policy
from pipeline.settings.models import (
    Bench,
    Column,
    Export,
    Feeding,
    Group,
    Grower,
    Mail,
    Person,
    Schedule,
    Settings,
    SiteFacts,
    SiteSettings,
)
from pipeline.settings.new_home import write_new_home
from pipeline.settings.policy import (
    ORIGIN_WORDS,
    POLICY_CATALOGUE,
    OwnTarget,
    PolicyEntry,
    PolicyPeriod,
    PolicyValues,
    Target,
)
from pipeline.settings.words import FIELDS, WORDS_BY_FIELD

__all__ = [
    "CONTAINER_DEFAULTS",
    "FIELDS",
    "ORIGIN_WORDS",
    "POLICY_CATALOGUE",
    "WORDS_BY_FIELD",
    "Bench",
    "Column",
    "ContainerRule",
    "Export",
    "Feeding",
    "Group",
    "Grower",
    "Mail",
    "OwnTarget",
    "Person",
    "PolicyEntry",
    "PolicyInForce",
    "PolicyPeriod",
    "PolicyValues",
    "Schedule",
    "Settings",
    "SettingsError",
    "SettingsProblem",
    "SiteFacts",
    "SiteSettings",
    "Target",
    "check_home",
    "load_group",
    "load_settings",
    "merge_policy",
    "resolve_policy",
    "write_new_home",
]
