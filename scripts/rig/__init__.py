"""The lab: a lighting network of real programs in Linux network namespaces, to test and to record on."""
