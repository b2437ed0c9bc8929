"""The small site of the pages' tests, for attacks on them."""

from tests.review.conftest import client, desk, site, template_site

__all__ = ["client", "desk", "site", "template_site"]
