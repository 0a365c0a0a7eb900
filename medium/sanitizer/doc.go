// Package sanitizer holds the arithmetic of the sanitizer bench: strength units
// kept with their basis, dilution by mass balance, kitchen measures, tonight's
// batch and the cautions. The records (products, solutions, sanitize steps) and
// the check of a step, with every limit, are package medium's.
//
// The printed label of a product and the local health authority come before
// every figure in here. The published ceilings are an additional check and
// never replace the label. Nothing in this package says that a surface is safe.
//
// Ppm always means mg of the active per litre of solution, counted the way
// labels and test strips count it: as available chlorine for the chlorines, as
// titratable iodine for iodophors, as the active itself for the others.
package sanitizer
