"""The probe's hardware, once: parts, values, pins and nets, and what follows from them by calculation.

Everything that shows the hardware reads these tables: the circuit for ngspice, the schematic, the netlist, the
perfboard, the parts list, the pinout, and the yard's front end. Of the rest it imports the wire alone.

`values`: components of the signal path and of the supplies. `microphones`, `amplifier`, `converter`: what the chosen
parts give. `response`, `noise`, `rails`: gains, floors and limits as formulas. `frontend`: all of it as one probe has
it, nominal or drawn. `parts`: the parts by name and the conditions they meet. `nets`: what is connected to what.
"""
