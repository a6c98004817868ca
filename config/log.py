"""Keeps what Celery says of a broker that is away to a line each."""

import logging

# Shown at each lost connection; our tasks may run twice, so the old behaviour is the wanted one.
ABOUT_A_SETTING = "optional breaking change which\non connection loss cancels"


class ShortBrokerNews(logging.Filter):
    """Drops the stacks that the scheduler adds to each tick it could not send."""

    def filter(self, record: logging.LogRecord) -> bool:
        if record.name == "celery.beat" and record.exc_info:
            record.msg, record.args = "%s", (record.exc_info[1],)
            record.exc_info = record.exc_text = None
        return ABOUT_A_SETTING not in record.getMessage()
