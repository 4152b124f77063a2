"""Files for other programs: JSON documents, CSV, SVG, DXF, LandXML. Pure text in memory; the caller writes it."""
