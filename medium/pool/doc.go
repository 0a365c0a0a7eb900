// Package pool answers how many mats a farm needs and how to cut them from
// mesh stock.
//
// [Need] is the closed form (Little's law) for a sowing plan, [Simulate] plays
// the same plan day by day with weather, limited washing and losses, and
// [Enough] finds the number of mats at which running short becomes rare enough.
// [BestSheet], [FewestSheets] and [ShortestRoll] cut mesh with edge-to-edge
// (guillotine) cuts, the only cuts that a knife and a straight edge make.
//
// A plan of cuts always says how far it can be trusted: Proven with the
// bound that proves it, or the gap that is left. Work is
// limited by a count of steps, never by a clock, so that the same input gives
// the same plan on every machine. The papers named beside the cutting methods
// are cited from memory; the tests hold the results against published values.
//
// The package is pure: no clock, no files, no randomness of its own.
package pool
