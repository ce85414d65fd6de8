from bench.library import expected_resistance as expected_resistance
from bench.library import open_job as open_job
from bench.library import open_meter as open_meter
from bench.library import open_record as open_record

__version__: str
