// Package lifetime answers what a mat is worth: how many turns it lasts and
// why it ends, how often it molds, whether its yield sags, what a turn costs,
// and how many mats must be bought in the weeks ahead.
//
// The unit of time is the turn, one trip of a mat through sowing, harvest and
// washing. A mat that is still in use is a censored observation: it is known
// to have lasted at least its turns so far. Leaving such mats out, or counting
// them as retired, makes every mesh look worse than it is.
//
// Conventions, where textbooks and programs differ:
//   - a retirement and a censoring at the same turn: the retirement comes first;
//   - the interval of the survival curve is log-log unless another is asked for
//     (R's survfit defaults to "log": same curve, different limits);
//   - the Nelson-Aalen variance is the sum of d/n^2;
//   - a quantile that falls on a flat step is the middle of that step;
//   - the curve is never drawn on past the last observed turn;
//   - a point of a control chart is out when it lies beyond its limit, not on it;
//   - the two-sided Fisher test sums the tables that are no more likely than
//     the one observed.
//
// No function returns a not-a-number or an infinity: where a figure does not
// exist the result says so in a field, or the error is *Invalid (the input is
// wrong), *TooLittle (more records are needed) or *NoEstimate (the records
// allow no such estimate however many digits are asked for).
//
// The package is pure: no clock, no files, no randomness of its own. What is
// simulated takes a source from its caller.
package lifetime
