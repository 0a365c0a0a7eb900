// Package cutting cuts mesh stock to mats with edge-to-edge (guillotine) cuts,
// the only cuts that a knife and a straight edge make: [BestSheet],
// [FewestSheets] and [ShortestRoll].
//
// A plan always says how far it can be trusted: Proven with the bound that
// proves it, or the gap that is left. Work is limited by a count of steps,
// never by a clock, so that the same input gives the same plan on every
// machine. The papers named beside the methods are cited from memory; the
// tests hold the results against published values.
//
// The package is pure: no clock, no files, no randomness of its own.
package cutting
