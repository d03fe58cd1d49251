"""The queue in a folder, for an installation without Redis: kombu's, made safe against a kill in mid-write.

kombu writes its files in place. A worker that reads one too early, or one left empty by a process that was
killed, ends there; with a damaged list of queues it ends so at every start. For one queue to an exchange.
"""

import os
import time
from pathlib import Path
from typing import Any
from uuid import uuid4

from kombu.transport import filesystem
from kombu.utils.json import dumps


class Channel(filesystem.Channel):
    """Messages appear whole or not at all; damaged ones are skipped, a damaged list of queues made anew."""

    def _put(self, queue: str, payload: dict[str, Any], **kwargs: Any) -> None:
        name = f"{time.time_ns()}_{uuid4()}"
        part = Path(self.data_folder_out, f"{name}.part")
        try:
            part.write_text(dumps(payload), encoding="utf-8")
            os.replace(part, part.with_name(f"{name}.{queue}.msg"))
        except OSError:
            part.unlink(missing_ok=True)
            raise

    def _get(self, queue: str) -> dict[str, Any]:
        while True:
            try:
                return super()._get(queue)
            except ValueError:  # its file is gone by now; what it was about is swept up
                continue

    def get_table(self, exchange: str) -> list:
        try:
            return super().get_table(exchange)
        except ValueError:  # until it is written anew, a message goes nowhere: the sweep makes that good
            return []

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        try:
            super()._queue_bind(exchange, routing_key, pattern, queue)
        except ValueError:
            self._exchange_file(exchange).unlink(missing_ok=True)
            super()._queue_bind(exchange, routing_key, pattern, queue)


class Transport(filesystem.Transport):
    Channel = Channel
