"""The office: runs season -> outlook -> plan, keeps the result, and makes what people look at."""

from tierpole.office.document import PlanDocument, plan_document
from tierpole.office.farm import FarmOffice
from tierpole.office.office import Office, Settings, Status

__all__ = ["FarmOffice", "Office", "PlanDocument", "Settings", "Status", "plan_document"]
