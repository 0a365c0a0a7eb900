// Package pool answers how many mats a farm needs.
//
// [Need] is the closed form (Little's law) for a sowing plan, [Simulate] plays
// the same plan day by day with weather, limited washing and losses, and
// [Enough] finds the number of mats at which running short becomes rare enough.
//
// The package is pure: no clock, no files, no randomness of its own.
package pool
