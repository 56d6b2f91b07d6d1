import socket

import pytest

from doffer.errors import ConflictError, RefusedError
from doffer.serve.server import bind, require_loopback


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.20", "::", "mill.local"])
def test_a_mill_is_not_served_to_the_network_before_there_is_a_sign_in(host):
    with pytest.raises(RefusedError, match="there is no sign-in yet"):
        require_loopback(host)


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost", "127.0.0.2"])
def test_this_computer_may_look(host):
    assert require_loopback(host) is None


def test_a_taken_port_is_named_in_the_sentence():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(ConflictError, match=f"Port {port} on 127.0.0.1 is already taken"):
            bind("127.0.0.1", port)
