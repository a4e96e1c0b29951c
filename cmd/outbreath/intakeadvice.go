package main

import (
	"strings"

	"outbreath/pack/intake"
)

// intakeAdvice is the advice on each kind of intake error. {inside} is replaced by a
// shipment found in a folder that is not one itself.
var intakeAdvice = map[intake.Fault]string{
	intake.NoFolder:    "name the shipment's folder on the medium",
	intake.NotShipment: "name the folder of each shipment, such as {inside}",
	intake.SiteKeys:    "name the laboratory's folder with --keys DIR",
	intake.Nameless: "write the laboratory's short name after the key in signing.pub, " +
		"the one that the sites know",
	intake.BadText: "write each --remark, and --by, as one short line; " +
		"give --remark several times for several lines",
	intake.NoReceiptFolder:  "name a file in a folder that exists",
	intake.NotReceiptFolder: "name a folder that exists: each receipt gets the shipment's number as its name",
	intake.Occupied:         "name a file that does not exist yet",
	intake.BadStation:       "give a short name with --station",
}

// intakeToDo returns the advice on an intake error.
func intakeToDo(e *intake.Error) string {
	do := intakeAdvice[e.Fault]
	if len(e.Inside) > 0 {
		do = strings.ReplaceAll(do, "{inside}", quoted(e.Inside[0]))
	}
	return do
}

// answerAdvice is the advice on what the register knows about a shipment. It is printed
// after the fact and a colon.
var answerAdvice = map[intake.Case]string{
	intake.Elsewhere: "find out which station has it before anything is analysed twice",
	intake.Late:      "ask the site what this shipment is, then settle it once more",
	intake.SharedTubes: "nobody can tell from the barcode whose sample it is; " +
		"put the tube aside until both are compared, " +
		"or give with --reuse-days how long a tube takes to be conditioned and sent out again",
	intake.RejectedSettled: "ask the site what this shipment is",
	intake.OtherContents: "keep both apart, use neither, and ask the site by telephone which counts; " +
		"it may have sealed from two folders, and then it seals the other again under a free number",
	intake.Disputed: "keep both apart, use neither, and ask the site by telephone which counts",
}

// notAskedToDo is the advice on a shipment that open unpacked without asking a register.
const notAskedToDo = "open does not ask a register; if the laboratory keeps one, run verify --register first: " +
	"it knows what came before under this number"

// receiptToDo is the advice on a receipt that was not written.
const receiptToDo = "the verdict above holds, and what was entered in a register counts once: " +
	"name a new file with --receipt in a folder that can be written to, and run the command again"
