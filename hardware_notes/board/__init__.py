"""The board: electrical rules, netlist, schematic and perfboard, all from curbtick.hardware.nets, and read back."""
