"""Long exposures made afterwards, from bursts of short frames."""
