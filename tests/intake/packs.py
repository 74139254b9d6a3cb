"""Made-up packs: invented devices of an invented vendor, after the standard's schema."""

from __future__ import annotations

import zipfile
from pathlib import Path

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'

# two families: levels that add, override and supersede; variants; two processors
VALLEY = (
    HEAD
    + """<package schemaVersion="1.7.32" xmlns:xs="http://www.w3.org/2001/XMLSchema-instance"
         xs:noNamespaceSchemaLocation="PACK.xsd">
  <vendor>Cooperative</vendor>
  <name>Valley_DFP</name>
  <description>Invented devices for tests.</description>
  <url>https://example.invalid/</url>
  <releases>
    <release version="2.1.0" date="2026-04-02">more devices</release>
    <release version="2.0.0" date="2025-01-10">first</release>
  </releases>
  <devices>
    <family Dfamily="VN4 Series" Dvendor="NO_VENDOR:0">
      <processor Dcore="other" DcoreVersion="r1p0" Dfpu="NO_FPU" Dendian="Little-endian"/>
      <memory name="SRAM" access="rwx" start="0x20000000" size="0x3800" default="1"/>
      <book name="doc/vn4.pdf" title="VN4 manual"/>
      <description>Invented field part. Not sold.</description>
      <feature type="UART" n="2" m="1000000"/>
      <feature type="USART" n="1" name="Synchronous port"/>
      <feature type="ADC" n="6" m="12"/>
      <feature type="VCC" n="1.8" m="3.6"/>
      <feature type="Temp" n="-40" m="85"/>
      <feature type="Temp" n="-20" m="105"/>
      <feature type="RTC" n="32768"/>
      <feature type="PowerMode" n="3" name="run, doze, off"/>
      <subFamily DsubFamily="VN41">
        <processor Dclock="44000000"/>
        <memory name="Flash" access="rx" start="0x08000000" size="0x16000" default="1" startup="1"/>
        <feature type="ADC" n="8" m="12"/>
        <device Dname="VN41A">
          <feature type="SPI" n="1"/>
          <feature type="IOs" n="21"/>
          <variant Dvariant="VN41A-QF">
            <feature type="QFN" n="28" name="QFN 28 4x4"/>
            <feature type="Temp" n="-40" m="105"/>
          </variant>
          <variant Dvariant="VN41A-SO">
            <processor Dclock="40000000"/>
            <feature type="SOP" n="28"/>
          </variant>
        </device>
        <device Dname="VN41B">
          <memory name="Flash" start="0x08000000" size="0xB000"/>
          <memory name="Backup" access="rw" start="0x40024000" size="0x200"/>
          <memory name="Boot" access="r" start="0x1FFF0000" size="0x1000"/>
          <memory name="Mirror" access="rwx" start="0x10000000" size="0x3800" default="1"
            alias="SRAM"/>
          <memory name="Ports" access="rwp" start="0x40000000" size="0x10000"/>
          <description>Smaller store.</description>
          <feature type="UART" n="3"/>
        </device>
      </subFamily>
    </family>
    <family Dfamily="VN7 Series" Dvendor="NO_VENDOR:0">
      <processor Pname="near" Dcore="other" Dfpu="SP_FPU" Dclock="96000000"/>
      <processor Pname="far" Punits="2" Dcore="other" Dfpu="NO_FPU" Dclock="32768000"/>
      <device Dname="VN70">
        <deprecated>2026-01-31</deprecated>
        <processor Pname="far" Dclock="48000000"/>
        <memory id="IROM1" start="0x0" size="0x58000" startup="1" default="1"/>
        <memory id="IRAM1" start="0x20000000" size="0xE000" default="1"/>
        <memory Pname="near" id="IRAM2" start="0x30000000" size="0x2000" default="1"/>
      </device>
    </family>
  </devices>
</package>
"""
)


def packed(path: Path, files: dict[str, str | bytes]) -> Path:
    """A zip with files in it."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def description(family: str) -> str:
    """A description of one family with that in it."""
    return (
        HEAD
        + '<package schemaVersion="1.7.32"><vendor>Cooperative</vendor><name>Made_DFP</name>'
        + "<description>Invented.</description><url>https://example.invalid/</url>"
        + '<releases><release version="1.0.0" date="2026-05-06">first</release></releases>'
        + f'<devices><family Dfamily="F" Dvendor="Generic:5">{family}</family></devices></package>'
    )
