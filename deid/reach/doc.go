// Package reach finds the least change to a plan after which no subject is in a class smaller
// than asked for.
//
// In: a [Table] of what subjects' quasi-identifiers would leave as, with the coarser treatments
// of every field ([NewAxis]), and a [Target]. Out: the [Result] of [Search], one treatment for
// each field, and what is lost.
//
// The treatments of all fields together form a lattice of generalisations of full domains
// (Samarati, IEEE TKDE 13(6), 2001). Search walks it field by field and gives up a branch in two
// cases: a choice for some of the fields fails, because then every choice that adds a field fails
// too (the subset property of LeFevre, DeWitt and Ramakrishnan, "Incognito", SIGMOD 2005); or the
// least loss that its remaining fields allow is no better than the best found (pruning by a lower
// bound of the cost: Bayardo and Agrawal, "Data Privacy through Optimal k-Anonymization", ICDE
// 2005). So the result is the optimum, unless it says that the search was cut short.
//
// The loss is non-uniform entropy (Gionis and Tassa, IEEE TKDE 21(2), 2009; used for the same
// purpose by El Emam et al., JAMIA 16(5), 2009): a subject whose value is shared by a of n
// subjects now, and by b after the change, loses log2(b/a) bits. It is given as the mean over all
// subjects, summed over the fields. A subject who is left out loses log2(n/a) bits of every field.
//
// The papers are cited from memory.
package reach
