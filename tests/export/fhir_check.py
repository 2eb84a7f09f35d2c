"""What is wrong with a FHIR bundle of ours: HL7's models as `fhir.resources` has them (R4B), and what they do not see.

That package looks at names, types and how often an element may stand. Added here: bindings of the elements we use,
invariants (by their HL7 keys where they have one), references, units, and the rules of this project.
"""

import re
from collections import Counter

from fhir.resources.R4B import get_fhir_model_class
from pydantic import ValidationError

from chairapp.export.fhir.codes import LOINC, LOINC_NOTICE, OURS, UCUM

# Required bindings of FHIR R4 (hl7.org/fhir/R4/valueset-*), of the elements an export uses.
STATUSES = {
    "Observation": "registered preliminary final amended corrected cancelled entered-in-error unknown",
    "QuestionnaireResponse": "in-progress completed amended entered-in-error stopped",
    "Questionnaire": "draft active retired unknown",
    "CodeSystem": "draft active retired unknown",
    "Procedure": "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
    "DetectedIssue": "registered preliminary final amended corrected cancelled entered-in-error unknown",
    "DeviceRequest": "draft active on-hold revoked completed entered-in-error unknown",
    "Device": "active inactive entered-in-error unknown",
    "Task": "draft requested received accepted rejected ready cancelled in-progress on-hold failed completed "
    "entered-in-error",
}
BOUND = {
    ("AuditEvent", "action"): "C R U D E",
    ("AuditEvent", "outcome"): "0 4 8 12",
    (
        "DeviceRequest",
        "intent",
    ): "proposal plan directive order original-order reflex-order filler-order instance-order option",
    ("Task", "intent"): "unknown proposal plan order original-order reflex-order filler-order instance-order option",
    ("CodeSystem", "content"): "not-present example fragment complete supplement",
}
ANSWER_OF = {
    "quantity": "valueQuantity",
    "decimal": "valueDecimal",
    "boolean": "valueBoolean",
    "choice": "valueCoding",
    "string": "valueString",
    "text": "valueString",
}
LOINC_CODES = {"32919-3", "32916-9"}
FOREIGN = {
    "http://terminology.hl7.org/CodeSystem/observation-category": {"exam"},
    "urn:iso-astm:E1762-95:2013": {"1.2.840.10065.1.12.1.1", "1.2.840.10065.1.12.1.5"},
}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
DAY = re.compile(r"\d{4}-\d\d-\d\d")


def by_the_package(bundle):
    """What `fhir.resources` alone sees."""
    found = []
    for entry in bundle["entry"]:
        resource = entry["resource"]
        try:
            get_fhir_model_class(resource["resourceType"]).model_validate(resource)
        except (ValidationError, KeyError) as error:
            found.append(f"{resource['resourceType']}: {str(error).splitlines()[0]}")
    return found


def faults(bundle):
    """Everything wrong, a line each; [] for a bundle that is right."""
    return [*by_the_package(bundle), *_Checker(bundle).found()]


class _Checker:
    def __init__(self, bundle):
        self.bundle = bundle
        self.resources = [entry["resource"] for entry in bundle["entry"]]
        self.at = {entry.get("fullUrl"): entry["resource"] for entry in bundle["entry"]}
        systems = [one for one in self.resources if one["resourceType"] == "CodeSystem"]
        self.codes = {concept["code"]: concept["display"] for one in systems for concept in one["concept"]}
        self.faults = []

    def found(self):
        self.bundle_rules()
        for resource in self.resources:
            self.walk(resource, resource["resourceType"], "")
            self.bindings(resource)
            if rule := getattr(self, resource["resourceType"].lower(), None):
                rule(resource)
        return self.faults

    def need(self, holds, why):
        if not holds:
            self.faults.append(why)

    def bundle_rules(self):
        urls = Counter(entry.get("fullUrl") for entry in self.bundle["entry"])
        self.need(max(urls.values()) == 1, "bdl-7: a fullUrl stands twice")
        for entry in self.bundle["entry"]:
            self.need(
                entry.get("fullUrl") == f"urn:uuid:{entry['resource']['id']}", "bdl: fullUrl is not of its resource"
            )
            self.need(not {"request", "response", "search"} & entry.keys(), "bdl-2, 3, 4: not in a collection")
        loinc = '"http://loinc.org"' in str(self.bundle).replace("'", '"')
        noticed = any(one.get("copyright") == LOINC_NOTICE for one in self.resources)
        self.need(noticed or not loinc, "LOINC is used without its notice")

    def walk(self, thing, kind, name):
        if isinstance(thing, list):
            self.need(thing, f"{kind}.{name}: an empty list")
            for part in thing:
                self.walk(part, kind, name)
        elif isinstance(thing, dict):
            self.need(thing, f"{kind}.{name}: an empty object")
            self.shapes(thing, kind, name)
            for key, part in thing.items():
                self.walk(part, kind, key)
        elif isinstance(thing, str):
            self.need(thing.strip(), f"{kind}.{name}: an empty text")
            if re.match(r"\d{4}-\d\d", thing) and name not in ("valueString", "text", "display"):
                self.need(TIME.fullmatch(thing) or DAY.fullmatch(thing), f"{kind}.{name}: a time without its zone")

    def shapes(self, thing, kind, name):
        if "reference" in thing:
            target = self.at.get(thing["reference"])
            self.need(target, f"{kind}.{name}: the reference leads nowhere")
            self.need(target is None or target["resourceType"] == thing.get("type"), f"{kind}.{name}: another type")
        if "coding" in thing:
            foreign = kind == "Observation" and name == "category"
            self.need(foreign or thing["coding"][0].get("system") == OURS, f"{kind}.{name}: ours does not stand first")
        if {"system", "code"} <= thing.keys() and "value" not in thing:
            self.coding(thing, kind, name)
        if "unit" in thing:
            right = (
                thing.get("system") == UCUM and thing.get("code") == thing["unit"] and thing["unit"] in ("mm", "deg")
            )
            self.need(right, f"{kind}.{name}: a unit that is not ours")
        if {"start", "end"} <= thing.keys():
            self.need(thing["start"] <= thing["end"], f"per-1: {kind}.{name} ends before it begins")
        values = [key for key in thing if re.match(r"value[A-Z]", key)]
        self.need(len(values) < 2, f"{kind}.{name}: two values")

    def coding(self, coding, kind, name):
        system, code = coding["system"], coding["code"]
        if system == OURS:
            self.need(self.codes.get(code) == coding.get("display"), f"{kind}.{name}: {code} is no code of ours")
        elif system == LOINC:
            self.need(code in LOINC_CODES, f"{kind}.{name}: {code} is no LOINC code we use")
        else:
            self.need(code in FOREIGN.get(system, ()), f"{kind}.{name}: {code} of {system}")

    def bindings(self, resource):
        kind = resource["resourceType"]
        if kind in STATUSES:
            self.need(resource.get("status") in STATUSES[kind].split(), f"{kind}.status is not in its value set")
        for (of, name), codes in BOUND.items():
            if of == kind and name in resource:
                self.need(resource[name] in codes.split(), f"{kind}.{name} is not in its value set")

    # ---- rules of single resources

    def observation(self, one):
        if "code" not in one:
            return
        value = [key for key in one if re.match(r"value[A-Z]", key)]
        parts = one.get("component", [])
        self.need(value or parts, "Observation: neither value nor components")
        self.need(not (value and "dataAbsentReason" in one), "obs-6: a value and a reason why there is none")
        first = [part["code"]["coding"][0] for part in parts]
        self.need(not value or one["code"]["coding"][0] not in first, "obs-7: a component repeats the code")
        self.need(len({coding["code"] for coding in first}) == len(first), "Observation: two components of one code")
        for limits in [one.get("referenceRange", []), *(part.get("referenceRange", []) for part in parts)]:
            for limit in limits:
                self.need({"low", "high", "text"} & limit.keys(), "obs-3: a range of nothing")
                both = {"low", "high"} <= limit.keys()
                self.need(not both or limit["low"]["value"] <= limit["high"]["value"], "Observation: range upside down")

    def questionnaire(self, one):
        links = Counter(item["linkId"] for item in _items(one))
        self.need(max(links.values()) == 1, "que-2: a linkId stands twice")
        for item in _items(one):
            self.need((item["type"] == "group") == ("item" in item), "que-1: group and items")
            self.need("answerOption" not in item or item["type"] in ("choice", "string"), "que-5: options of no choice")

    def questionnaireresponse(self, one):
        asked = [q for q in self.resources if f"{q.get('url')}|{q.get('version')}" == one.get("questionnaire")]
        self.need(asked, "QuestionnaireResponse: its questionnaire is not here")
        types = {item["linkId"]: item for q in asked for item in _items(q)}
        for item in _items(one):
            known = types.get(item["linkId"])
            self.need(known or not asked, f"QuestionnaireResponse: {item['linkId']} was not asked")
            self.need(not {"item", "answer"} <= item.keys(), "qrs-1: items and answers beside each other")
            for answer in item.get("answer", []) if known else ():
                self.need(
                    list(answer) == [ANSWER_OF.get(known["type"])], f"{item['linkId']}: an answer of another type"
                )
                options = [option["valueCoding"] for option in known.get("answerOption", [])]
                self.need(not options or answer.get("valueCoding") in options, f"{item['linkId']}: no such option")
        self.same_as_observed(one)

    def same_as_observed(self, one):
        """Every measured answer of a response stands in an observation, the mean of several."""
        observed = {}
        for o in self.resources:
            if o["resourceType"] == "Observation" and "code" in o and o.get("subject") == one.get("subject"):
                code = o["code"]["coding"][0]["code"]
                observed |= {code: o["valueQuantity"]["value"]} if "valueQuantity" in o else {}
                for part in o.get("component", []):
                    at = part["code"]["coding"][0]["code"].removeprefix("station/")
                    observed |= {f"{code}/{at}": part["valueQuantity"]["value"]} if "valueQuantity" in part else {}
        for item in _items(one):
            values = [a["valueQuantity"]["value"] for a in item.get("answer", []) if "valueQuantity" in a]
            if values and all(isinstance(value, int | float) for value in values):
                value = observed.get(item["linkId"])
                close = isinstance(value, int | float) and abs(value - sum(values) / len(values)) < 1e-5
                self.need(close, f"{item['linkId']}: answered and observed are not the same")

    def codesystem(self, one):
        codes = [concept["code"] for concept in one["concept"]]
        self.need(len(set(codes)) == len(codes), "csd-1: a code stands twice")
        self.need(one.get("count") == len(codes), "CodeSystem.count is another")

    def patient(self, one):
        self.need(not one.keys() - {"resourceType", "id", "identifier"}, "Patient: holds something of the person")

    def task(self, one):
        self.need(one.get("lastModified", "9") >= one.get("authoredOn", ""), "inv-1: modified before it was written")

    def auditevent(self, one):
        asking = [agent for agent in one.get("agent", []) if agent.get("requestor")]
        self.need(len(asking) == 1, "AuditEvent: nobody or several who asked")

    def detectedissue(self, one):
        self.need(all(part["action"].get("text") for part in one.get("mitigation", [])), "DetectedIssue: no reason")


def _items(thing):
    for item in thing.get("item", []):
        yield item
        yield from _items(item)
