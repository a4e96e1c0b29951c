// Package intake is the laboratory's side of the job: what is done, and in which order,
// with the shipments that arrived in one go.
//
// In come folders, the laboratory's keys, the barcodes in the boxes, and, where the
// laboratory has them, its register and a place for receipts. Out comes a [Result]: a
// verdict on each shipment with all that could be found out about it. Most callers need
// [Keys] for a [Job], and [Job.Run].
//
// The order matters, and is kept in one place, Run:
//
//  1. Each shipment is verified by itself. One that cannot be read does not keep the
//     others from being verified.
//  2. The shipments are compared with each other and with the boxes: swapped boxes,
//     barcodes recorded twice, several contents under one number.
//  3. All are entered in the register, before any is rejected for what step 2 found, so
//     that the register learns of each of several contents. Its answer may make a verdict
//     worse, never better.
//  4. Receipts are signed and written last, when nothing can change a verdict any more,
//     and not at all when the register has failed: a number may have come before.
//
// Errors and checks state facts. Which words advise a person is for the caller, who
// gives them as [Job.Advise].
package intake
