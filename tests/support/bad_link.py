"""bad_link: a bad line to a broker or endpoint, as a program in between sees it.

    link = BadLink(port, delay_s=(0.05, 0.3), break_after=[(2000, 20000)] * 3, seed=1)
    ... connect to link.port instead of port ...
    link.close()

Every piece of what is sent, cut at random places, waits a random time; what overtakes or is lost
on a real line shows to TCP as such a wait. After a random number of bytes a connection is reset, in
the middle of whatever it was, as often as `break_after` has entries (least and most bytes).
"""
import random
import socket
import struct
import threading
import time


class BadLink:
    def __init__(self, target_port, delay_s=(0.0, 0.0), break_after=(), seed=1, stall_s=0.0):
        self.target_port, self.delay_s, self.stall_s = target_port, delay_s, stall_s
        self.breaks = list(break_after)
        self.broken = self.connections = self.pieces = 0
        self.ground, self.lock = random.Random(seed), threading.Lock()
        self.listener = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self.listener.getsockname()[1]
        self.closed, self.open = False, set()
        threading.Thread(target=self.accept, daemon=True).start()

    def close(self):
        self.closed = True
        self.listener.close()
        for one in list(self.open):
            one.close()

    def between(self, bounds):
        with self.lock:
            return self.ground.uniform(*bounds)

    def accept(self):
        while not self.closed:
            try:
                near, _ = self.listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self.target_port), timeout=5)
                far.settimeout(None)
            except OSError:
                near.close()
                continue
            for one in (near, far):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.open.add(one)
            self.connections += 1
            left = [int(self.between(self.breaks.pop(0)))] if self.breaks else [float("inf")]
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self.carry, args=(source, sink, left), daemon=True).start()

    def carry(self, source, sink, left):
        try:
            while not self.closed:
                data = source.recv(65536)
                if not data:
                    break
                while data:
                    size = min(len(data), int(self.between((1, 3000))))
                    time.sleep(self.between(self.delay_s))
                    if self.stall_s and self.between((0, 1)) < 0.01:
                        time.sleep(self.stall_s)
                    left[0] -= size
                    if left[0] < 0:
                        sink.sendall(data[:size // 2])
                        self.broken += 1
                        for one in (source, sink):
                            one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER,
                                           struct.pack("ii", 1, 0))
                        break
                    sink.sendall(data[:size])
                    self.pieces += 1
                    data = data[size:]
                if data:
                    break
        except OSError:
            pass
        for one in (source, sink):
            self.open.discard(one)
            try:  # wakes the other thread
                one.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
            one.close()
