"""The office: runs season -> outlook -> plan, keeps the result, and makes what people look at."""

from tierpole.office.document import PlanDocument, plan_document
from tierpole.office.office import Office, Settings, Status

__all__ = ["Office", "PlanDocument", "Settings", "Status", "plan_document"]
