"""Static files under names that change with their content."""

from django.contrib.staticfiles.storage import HashedFilesMixin
from whitenoise.storage import CompressedManifestStaticFilesStorage

_, IMPORTS = HashedFilesMixin._js_module_import_aggregation_patterns


class ReleaseStorage(CompressedManifestStaticFilesStorage):
    """Our scripts import each other by those names too, so that a page never mixes two releases.

    Django can do this for all scripts only, and would look for what others merely mention in their comments.
    """

    patterns = (*HashedFilesMixin.patterns, ("js/*.js", IMPORTS), ("offline/*.js", IMPORTS))
