"""Devicetree sources with batteries, all invented but for the binding's example."""

from __future__ import annotations

# the properties and figures of the example in the published binding of simple-battery, in a source
# of our own
EXAMPLE = """
/dts-v1/;
/ {
  #address-cells = <1>;
  battery: battery {
    compatible = "simple-battery";
    re-charge-voltage-microvolt = <250000>; over-voltage-threshold-microvolt = <4500000>;
    voltage-min-design-microvolt = <3200000>;
    voltage-max-design-microvolt = <4200000>;
    energy-full-design-microwatt-hours = <5290000>;
    charge-full-design-microamp-hours = <1430000>;
    constant-charge-current-max-microamp = <900000>;
    factory-internal-resistance-micro-ohms = <250000>;
    ocv-capacity-celsius = <(-10) 0 10>;
    ocv-capacity-table-0 = <4185000 100>, <4113000 95>, <4066000 90>;
    ocv-capacity-table-1 = <4200000 100>, <4185000 95>, <4113000 90>;
    ocv-capacity-table-2 = <4250000 100>, <4200000 95>, <4185000 90>;
    resistance-temp-table = <20 100>, <10 90>, <0 80>, <(-10) 60>;
    operating-range-celsius = <(-30) 50>;
  };
  gauge@22 { reg = <0x22>; monitored-battery = <&battery>; };
};
"""

FIELD = """
/dts-v1/;
// an invented cell; all forms of numbers and comments
/ {
  store: cell@1 {
    compatible = "coop,field-cell", "simple-battery";
    device-chemistry = "lithium-ion-iron-phosphate";
    charge-full-design-microamp-hours = <0x16e360>; /* 1 500 000 */
    voltage-min-design-microvolt = <2500000>;
    factory-internal-resistance-micro-ohms = <0106500>;
    ocv-capacity-celsius = <(-10) 25 ( - 20 )>;
    ocv-capacity-table-0 = <3300000 100>, <3100000 0>;
    ocv-capacity-table-1 = <3400000 100 3300000 50>, <2900000 0>;
    ocv-capacity-table-2 = <3250000 100>, <3000000 20>;
    resistance-temp-table = <25 100>, <(-10) 250>;
  };
};
&store { charge-full-design-microamp-hours = <1600000>; };
&elsewhere { compatible = "simple-battery"; charge-full-design-microamp-hours = <1>; };
"""


def node(inner: str, label: str = "b") -> str:
    """A source with one battery node."""
    return f'/dts-v1/;\n/ {{ {label}: n {{ compatible = "simple-battery";\n{inner}\n}}; }};\n'
