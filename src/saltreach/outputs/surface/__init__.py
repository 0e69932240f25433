"""A surface as files: GeoTIFF or Zarr, and their styles."""
