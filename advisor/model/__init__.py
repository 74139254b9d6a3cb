"""Power, supply, battery, money: pure calculation on arrays."""
