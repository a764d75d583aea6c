"""Where the languages were looked for before they moved to `pipeline.languages`."""

from pipeline.languages import *  # noqa: F403
