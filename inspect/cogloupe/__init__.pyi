"""What is public, with its types; `__init__` takes it from here."""

from .causes.diagnosis import diagnose as diagnose
from .comparing.compare import compare_pair as compare_pair
from .forms.basic_racks import basic_rack as basic_rack
from .forms.rack import Gear as Gear
from .forms.rack import gear_outline as gear_outline
from .forms.rack import over_pins_size as over_pins_size
from .forms.rack import span_size as span_size
from .inputs.photo import Photo as Photo
from .inputs.photo import read_photo as read_photo
from .inputs.settings import GearSettings as GearSettings
from .inputs.settings import make_settings as make_settings
from .inspection import inspect_photo as inspect_photo
from .pairing.from_reading import gear_from_reading as gear_from_reading
from .pairing.mates import theoretical_gear as theoretical_gear
from .pairing.pair import pair_gears as pair_gears
from .planning.machine import load_machine as load_machine
from .planning.plan import make_plan as make_plan
from .planning.request import make_request as make_request
from .reading.files import load_reading as load_reading
from .reading.models import Reading as Reading
from .report.write import write_report as write_report

__version__: str
