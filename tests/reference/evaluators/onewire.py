"""Evaluates the rows on 1-wire sensors."""

from brewing import probes

EVALUATORS = {
    "DS18B20 temperature register": lambda row: probes.ds18b20_temperature(*bytes.fromhex(row["lsb_msb_hex"])),
    "DS18B20 maximum conversion time": lambda row: probes.ds18b20_conversion_time(row["bits"]) * 1000.0,
    "CRC-8 Dallas/Maxim (poly x8+x5+x4+1, reflected 0x8C, init 0)": lambda row: (
        f"{probes.crc8(bytes.fromhex(row['bytes_hex'])):02X}"
    ),
}
