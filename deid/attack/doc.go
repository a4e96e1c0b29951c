// Package attack tries to undo the de-identification of what leaves, as people would who
// hold the data and something else: the label, the box, an appointment book, the roster,
// a second shipment, a public post.
//
// In: the payload as the laboratory reads it ([Shipment.Add]), and what an attacker holds
// besides ([Knowledge]). Out: one [Attack] for each attacker, with a [Claim] for each
// subject: on which days the sessions were, and who the subject is. Callers need
// [Shipment.Add], [Run] and [Score].
//
// Attackers never see the truth. [Score] compares their claims with it, where the caller
// has it; claims without a truth are reported as not scored. The package reads JSON, CSV
// and EDF by itself and imports nothing of ours, so that a fault of the code that treats
// or reads elsewhere cannot hide from it.
//
// Nothing here is a legal verdict: that an attack fails does not prove that none succeeds.
package attack
