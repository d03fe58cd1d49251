"""The queue in a folder keeps working whatever a killed process left there."""

import errno
import os
from pathlib import Path

import pytest
from kombu import Connection, Exchange, Queue

from shop.folder_queue import Transport

QUEUE = Queue("celery", Exchange("celery"), routing_key="celery")


@pytest.fixture
def folder(tmp_path):
    return tmp_path


@pytest.fixture
def connect(folder):
    def connecting():
        Transport.global_state.clear()  # as a new process finds it
        options = {
            "data_folder_in": str(folder),
            "data_folder_out": str(folder),
            "control_folder": str(folder / "control"),
        }
        return Connection("localhost", transport=Transport, transport_options=options)

    return connecting


def send(connection, body):
    with connection.Producer() as producer:
        producer.publish(body, exchange=QUEUE.exchange, routing_key="celery", declare=[QUEUE])


def received(connection):
    """All that waits in the queue, taken from it."""
    bodies = []
    with connection.SimpleQueue(QUEUE) as queue:
        while True:
            try:
                message = queue.get_nowait()
            except queue.Empty:
                return bodies
            message.ack()
            bodies.append(message.payload)


def test_messages_arrive_once_in_the_order_sent(connect):
    with connect() as sender, connect() as receiver:
        for number in range(5):
            send(sender, {"pk": number})
        assert [body["pk"] for body in received(receiver)] == list(range(5))
        assert received(receiver) == []


def test_message_cut_short_by_a_kill_is_not_delivered(connect, folder, monkeypatch):
    def killed(part, whole):
        raise SystemExit(f"killed before {whole} was there")

    with connect() as sender, connect() as receiver:
        send(sender, "first")
        monkeypatch.setattr(os, "replace", killed)
        with pytest.raises(SystemExit):
            send(sender, "second")
        monkeypatch.undo()
        send(sender, "third")
        assert received(receiver) == ["first", "third"]
    assert [path.suffix for path in folder.iterdir() if path.is_file()] == [".part"]


@pytest.mark.parametrize("left", [b"", b'{"body', b"\0\0\0", b"\xff"])
def test_damaged_message_is_passed_over(connect, folder, left):
    with connect() as sender, connect() as receiver:
        send(sender, "first")
        Path(folder, "0_earlier.celery.msg").write_bytes(left)
        assert received(receiver) == ["first"]
    assert [path for path in folder.iterdir() if path.is_file()] == []


def test_disk_without_room_is_said_and_leaves_nothing(connect, folder, monkeypatch):
    def full(part, whole):
        raise OSError(errno.ENOSPC, "No space left on device")

    with connect() as sender:
        send(sender, "first")
        monkeypatch.setattr(os, "replace", full)
        with pytest.raises(OSError, match="No space left"):
            send(sender, "second")
    assert [path.suffix for path in folder.iterdir() if path.is_file()] == [".msg"]


@pytest.mark.parametrize("left", ["", '[["cel'])
def test_damaged_list_of_queues_is_written_anew(connect, folder, left):
    with connect() as sender:
        send(sender, "before")
        (written,) = Path(folder, "control").iterdir()
        whole = written.read_text()
        written.write_text(left)
    with connect() as sender, connect() as receiver:
        send(sender, "after")
        assert received(receiver) == ["before", "after"]
    assert written.read_text() == whole


def test_damaged_list_loses_the_nudge_but_not_the_sender(connect, folder):
    with connect() as sender:
        send(sender, "before")
        (written,) = Path(folder, "control").iterdir()
        written.write_text("")
        send(sender, "lost")  # this connection declared its queue before
    with connect() as receiver:
        assert received(receiver) == ["before"]
