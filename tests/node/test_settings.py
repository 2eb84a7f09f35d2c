"""Settings: what beats what, and that nonsense is loud."""

from pathlib import Path

import pytest

from chairapp.node.errors import SettingError
from chairapp.node.settings import is_loopback, read_settings

DATA = Path("/data")
CLINIC = "http://127.0.0.1:8090"


def read(role="chair", flags=(), environment=(), file=()):
    return read_settings(role, DATA, {"clinic": CLINIC} | dict(flags), dict(environment), dict(file))


def test_a_flag_beats_the_environment_beats_the_file_beats_the_default():
    file = {"port": "1003"}
    environment = {"THREEMARK_PORT": "1002"}
    assert read().port == 8080
    assert read(file=file).port == 1003
    assert read(environment=environment, file=file).port == 1002
    assert read(flags={"port": "1001"}, environment=environment, file=file).port == 1001


def test_a_clinic_server_has_its_own_default_port():
    assert read_settings("clinic", DATA, {}, {}, {}).port == 8090


def test_a_chair_node_needs_the_address_of_its_clinic():
    with pytest.raises(SettingError, match="--clinic: missing"):
        read_settings("chair", DATA, {}, {}, {})


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        ({"port": "http"}, "--port 'http': a port is a number"),
        ({"port": "0"}, "--port '0'"),
        ({"port": "65536"}, "1 to 65535"),
        ({"host": "0.0.0.0"}, "--host '0.0.0.0': only 127.0.0.1 in this version"),
        ({"host": "192.168.1.4"}, "nobody signs in yet"),
        ({"clinic": "127.0.0.1:8090"}, "--clinic '127.0.0.1:8090': write the clinic server's address"),
        ({"clinic": "http://clinic.example"}, "plain http is for this machine only"),
        ({"label_size": "small"}, "--label-size 'small': write width x height"),
    ],
)
def test_nonsense_is_refused_in_one_line_naming_the_flag(flags, says):
    with pytest.raises(SettingError) as caught:
        read(flags=flags)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_error_names_where_the_value_came_from():
    with pytest.raises(SettingError, match=r"^THREEMARK_PORT 'x'"):
        read(environment={"THREEMARK_PORT": "x"})
    with pytest.raises(SettingError, match=r"^node\.toml port 'x'"):
        read(file={"port": "x"})


def test_a_setting_nobody_knows_is_refused_with_the_one_meant():
    with pytest.raises(SettingError, match="THREEMARK_PROT: no such setting, did you mean THREEMARK_PORT"):
        read(environment={"THREEMARK_PROT": "1"})
    with pytest.raises(SettingError, match=r"node\.toml lable_size: no such setting, did you mean label_size"):
        read(file={"lable_size": "57x32"})


def test_a_missing_override_file_is_refused():
    with pytest.raises(SettingError, match=r"--sequence '/nowhere\.toml': there is no such file"):
        read_settings("clinic", DATA, {"sequence": "/nowhere.toml"}, {}, {})


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "localhost", "LOCALHOST", "::1", "[::1]"])
def test_names_of_this_machine_are_known(host):
    assert is_loopback(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.0.1", "localhost.example", "127.0.0.1.example", "", "::"])
def test_nothing_else_counts_as_this_machine(host):
    assert not is_loopback(host)
