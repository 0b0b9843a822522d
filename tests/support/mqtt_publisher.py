"""mqtt_publisher: publishes at QoS 1 with a window, fast and with nothing lost unnoticed.

MQTT 3.1.1 (OASIS Standard, 29 October 2014): CONNECT 3.1, PUBLISH 3.3, PUBACK 3.4. A message counts
as published when the broker has acknowledged it; `publish` returns when all have been.
"""
import socket
import struct


def _text(value):
    data = value.encode() if isinstance(value, str) else value
    return struct.pack(">H", len(data)) + data


def _remaining_length(length):
    out = bytearray()
    while True:
        length, digit = divmod(length, 128)
        out.append(digit | 0x80 if length else digit)
        if not length:
            return bytes(out)


class Publisher:
    """One connection to a broker on loopback."""

    def __init__(self, port, client_id="publisher", timeout=20):
        self._socket = socket.create_connection(("127.0.0.1", port), timeout)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._next_id = 1
        self._unread = b""
        body = _text("MQTT") + b"\x04\x02" + struct.pack(">H", 0) + _text(client_id)
        self._socket.sendall(b"\x10" + _remaining_length(len(body)) + body)
        answer = self._receive(4)
        if answer != b"\x20\x02\x00\x00":
            raise ConnectionError(f"the broker refuses the publisher: {answer!r}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def _receive(self, length):
        while len(self._unread) < length:
            more = self._socket.recv(65536)
            if not more:
                raise ConnectionError("the broker closed the publisher's connection")
            self._unread += more
        data, self._unread = self._unread[:length], self._unread[length:]
        return data

    def publish(self, messages, window=1000, retain=False):
        """Publishes (topic, payload) pairs in order, at QoS 1; the number acknowledged."""
        head = b"\x33" if retain else b"\x32"
        sent = acknowledged = 0
        batch = bytearray()
        for topic, payload in messages:
            body = _text(topic) + struct.pack(">H", self._next_id)
            body += payload.encode() if isinstance(payload, str) else payload
            batch += head + _remaining_length(len(body)) + body
            self._next_id = self._next_id % 65535 + 1
            sent += 1
            if sent - acknowledged >= window or len(batch) > 60000:
                self._socket.sendall(batch)
                batch.clear()
                while sent - acknowledged >= window:
                    acknowledged += self._take_acknowledgements()
        self._socket.sendall(batch)
        while acknowledged < sent:
            acknowledged += self._take_acknowledgements()
        return acknowledged

    def _take_acknowledgements(self):
        """Reads what is there, at least one PUBACK."""
        first = self._receive(4)
        more = len(self._unread) // 4
        packets = first + self._receive(4 * more)
        for i in range(0, len(packets), 4):
            if packets[i:i + 2] != b"\x40\x02":
                raise ConnectionError(f"not a PUBACK: {packets[i:i + 4]!r}")
        return 1 + more

    def close(self):
        try:
            self._socket.sendall(b"\xe0\x00")
        except OSError:
            pass
        self._socket.close()
