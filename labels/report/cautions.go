package report

// DemoMark stands on every page of a report about invented records.
const DemoMark = "Invented demo farm: not real records"

// usualCautions are printed on each report, whatever it shows.
func usualCautions() []string {
	return []string{
		"A verdict says that a mat is clear or not clear by the farm's own rules, and nothing more.",
		"A mat that looks clean is not a clean mat. Sun and drying earn no sanitizing credit.",
		"No published study gives a number of turns that a mesh mat may be used for; every such limit here is the farm's own.",
		"The sanitizer's printed label, local health rules and qualified people come first.",
		"This is a record, not a certificate: it certifies nothing and stands for no inspection.",
	}
}
