"""Words of the trade, each with a meaning of its own; collected by hand, from no source.

Where both of two names that differ by a slip are such words, they are two names. The list is an
addition to the rules of form: what it lacks is in doubt, and in doubt two names are two.
"""

from __future__ import annotations

_TEXT = """
accept access achieve acknowledge action active actual actuate adjust advance ahead aim alarm
align alive allow angle applied apply approach armed arrive axis back balance band bar barcode bare
barrier battery beam bearing belt block blow bolt bottom brake branch break bridge button bypass
cabin cable cage calm car carriage carrier catch center centre chain chamber change channel
charge check chute circuit clamp clear climb clock close cloth clutch coil cold collect column
command complete condition confirm contact control conveyor cool counter couple cover cramp
crane create creep current curtain cushion cycle damp danger deck defect degree delay deliver
demand deposit detect device direction disable dock door double down drain draw drawer drive
drop dump east echo edge eject elevator emergency empty enable encoder engage enter error escape
estop exceed excess exchange exit extend external facility fail fall fan fast fault feed fence
fetch field fill filter final finish first flap float floor flow fold force fork form forward
frame free frequency front fuel full function fuse gate gear gripper group guard guide hall halt
hammer hand handle hatch head healthy heartbeat heat heavy height high hoist hold holding hole
home homing hook horn house hydraulic idle impact inch index inhibit inlet inner input insert
inside inspect internal invert item jack jam jog join joint key ladder lamp land lane laser
latch lead leak learn leave left level lever lift light limit line link list load local lock
locked long look loop lost low lower lubricate machine magnet main manual mast master match
measure mirror mode module monitor motion motor mount move mute near needle night normal north
number object offset open operate order origin outer outlet output outside over overload
override pack pallet panel park part pass path pause pedal permit phase pick pilot pin pinch
pipe pitch place plate platform plug point pole port position power prepare present press
pressure prevent process product program protect prove pull pulse pump push quick quit rack raid
rail raise range rate reach read ready rear receive recover reduce reel reference reject relay
release remain remote remove request reset rest restart rested retract retrieve return reverse
right ring rise robot rod roll roller roof rope rotate rotor row run safe scale scan scrap scrape
screen screw seal seat second section select send sensor separate sequence serve service set
shaft shelf shift shock shoe short shut shuttle side signal silent single siren slack slate
slave slide slip slot slow smoke solenoid source south space speed spend spin spindle split spot
spring stable stack stall stand standstill star stare start state station status steady steer
step stick sting stop storage store stow strap string strobe strut supply support swing switch
table tail take tank target taste teach tension test tested thread through throw tilt time tip
title toggle tool torque tower track traction trail train transfer transport trap tray trial
trigger trim trip trolley truck tune tunnel turn unblock unit unload unlock upper vacuum valid
value valve vehicle vent vessel voltage wait wall warm warn waste watch watchdog water weigh
weight weld west wheel width winch wind window winter wire work yard zone
"""

STEMS = frozenset(_TEXT.split())
"""Stems; their forms follow from endings."""
