// Package sanitizer holds the arithmetic and the checks of the sanitizer
// bench: strength units kept with their basis, dilution by mass balance,
// chlorine chemistry, the directions of a product, mixed solutions and their
// age, the check of one sanitize step, tonight's batch and the cautions.
//
// The printed label of a product and the local health authority come before
// every figure in here. The published ceilings are an additional check and
// never replace the label. Nothing in this package says that a surface is safe.
//
// Ppm always means mg of the active per litre of solution, counted the way
// labels and test strips count it: as available chlorine for the chlorines, as
// titratable iodine for iodophors, as the active itself for the others.
package sanitizer
