"""What open services say of a region: one file a service, one way out (`web`)."""
