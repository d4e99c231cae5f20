"""`coldside health SERVICE`, and what containers ask every few seconds: how one service is, as its broker tells it.

Loads little, because on a small computer each look costs what it loads: `python -m services.commands.pulse SERVICE`.
"""

import json
import os
import sys
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from schemas.topics import TopicKind, every
from services.runtime.address import BrokerAddress
from services.runtime.clock import SystemClock, machine_seconds
from services.runtime.credentials import SecretUnusable, admitted

BROKER = "COLDSIDE_BROKER"
SERVICE = "COLDSIDE_SERVICE"
FRESH_S = 45.0
"""Services say how they are every 10 s."""
PATIENCE_S = 5.0


def complaint(health: Mapping[str, Any], now: datetime) -> str:
    """What is wrong with a service by its own health message; nothing when it is well."""
    state, said = health.get("state"), health.get("at")
    if state != "running":
        return f"it is {state}"
    age_s = (now - datetime.fromisoformat(str(said))).total_seconds()
    return f"it was last heard {age_s:.0f} s ago" if age_s > FRESH_S else ""


def look(address: BrokerAddress, service: str, patience_s: float = PATIENCE_S) -> str:
    """What is wrong with a service; nothing when it is well. Any site will do: a broker in a container has one."""
    heard: list[bytes] = []
    refused: list[str] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2, f"pulse-{service}", protocol=mqtt.MQTTv311)
    if address.username:
        client.username_pw_set(address.username, address.password)
    if address.tls:
        files = (address.ca_file, address.certificate_file, address.key_file)
        ca_file, certificate, key = (None if one is None else str(one) for one in files)
        client.tls_set(ca_certs=ca_file, certfile=certificate, keyfile=key)

    def entered(_client: mqtt.Client, _data: Any, _flags: Any, code: Any, _properties: Any) -> None:
        if code.is_failure:
            refused.append(f"the broker at {address} refused: {code}")
        else:
            client.subscribe(every("+", TopicKind.HEALTH, service), 1)

    client.on_connect = entered
    client.on_message = lambda _client, _data, message: heard.append(bytes(message.payload))
    deadline_s = machine_seconds() + patience_s
    client.connect(address.host, address.port, 15)
    while not heard and not refused and machine_seconds() < deadline_s:
        client.loop(0.1)
    client.disconnect()
    if not heard:
        return refused[0] if refused else "nothing was heard of it"
    return complaint(json.loads(heard[-1]), SystemClock().now())


def main() -> int:
    """Looks after the service named; 0 when it is well, 1 with a line on standard output otherwise."""
    service = sys.argv[1] if len(sys.argv) > 1 else os.environ.get(SERVICE, "bridge")
    try:
        address = admitted(BrokerAddress.from_url(os.environ.get(BROKER, "mqtt://127.0.0.1")), service)
        wrong = look(address, service)
    except (SecretUnusable, OSError, ValueError) as error:
        wrong = str(error)
    print(f"{service}: {wrong or 'well'}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
