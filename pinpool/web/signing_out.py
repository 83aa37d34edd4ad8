"""What a browser lets go of when somebody signs out in it; apps above contribute."""

#: Templates that stand below the form `#sign-out` of the account's page, each with the module that it needs.
templates: list[str] = []


def contribute(template: str) -> None:
    """Add a template, from `AppConfig.ready`; its module holds the form back until it has done its part."""
    templates.append(template)
