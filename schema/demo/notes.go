package demo

// notes are as operators type them. No name, number, date or place of anybody
// is among them, so that the collection seals clean; what looks a little like
// one (a barcode of the record, a lot, a clock time, a flow) is there on purpose.
var notes = []string{
	"leak test ok, seal good. 450 ml/min both tubes",
	"room 22.4 C, RH 41 %. pt fasted since 07:00",
	"cap of LK07-0003-B stiff, changed to spare from lot L2611",
	"",
	"second tube by request of protocol, mixed breath. pt tired but ok, tempreature 36.8 C",
	"nose clip refused, breathes thru mouth anyway. 500 ml each",
	"pt coughed x3 in tube 2, stopped at 430 ml. msg E-17 on sampler, cleared",
	"repeat of tube 1 not needed, flow 448-452 ml/min",
	"coffee at 12:10, told to wait 30 min, started after. new lot L2612",
	"mixed breath. window open, fan off",
	"",
	"mask off ca 25 s for a sip of water, mask refitted, leak test 2 passed",
	"sampler restarted once b4 start (msg E-04), fw 3.2.1, both checks again",
	"talking during tube 1, asked for quiet, trace noisy 20 s",
	"2nd visit. same kit unit as last time, flow ok",
	"2nd visit, pt says inhaler not used today. 14:20 tube B capped late by a few sec",
	"2nd visit. mask size M instead of L, better",
	"3rd visit, no remarks. 18 C in corridor, tubes straight to fridge 4 C",
}

func noteFor(i int) string { return notes[i%len(notes)] }
