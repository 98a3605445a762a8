"""Answers of ISO 14229-1 against udsoncan, segmentation of ISO 15765-2 against can-isotp."""

import inspect
import logging
import re

import isotp
import udsoncan
from udsoncan import Response
from udsoncan.exceptions import InvalidResponseException
from udsoncan.services import DiagnosticSessionControl, ReadDTCInformation, RoutineControl

from ours import Ours

logging.disable(logging.CRITICAL)
SESSIONS = {1: "default", 2: "programming", 3: "extended", 4: "safety_system"}


def fold(name):
    return re.sub(r"[^a-z]", "", name.lower())


def names(ours):
    own = {nrc: ours.ask("refusal", nrc=nrc)["name"] for nrc in range(256)}
    code = Response.Code
    theirs = {}
    for name, nrc in vars(code).items():
        if isinstance(nrc, int) and 0 < nrc < 0x100 and not name.startswith("_"):
            theirs.setdefault(nrc, set()).add(fold(name))
    for nrc, spelled in theirs.items():
        if 0x3B <= nrc <= 0x4F:
            continue  # names of ISO 15764, reserved by ISO 14229-1
        # They write one of the two names with a singular.
        shown = fold(own[nrc]).replace("switchesnot", "switchnot")
        ours.compare(f"{nrc:02X} {sorted(spelled)} {shown}", shown in spelled, True)


def services(ours):
    for _, one in inspect.getmembers(udsoncan.services, inspect.isclass):
        if issubclass(one, udsoncan.BaseService.BaseService) and one is not udsoncan.BaseService.BaseService:
            own = ours.ask("service", id=one.request_id())["name"]
            ours.compare(f"service {one.request_id():02X}", fold(own or ""), fold(one.__name__))


def routine(ours):
    data = bytes([0x71, ours.random.randrange(6)]) + ours.bytes(ours.random.randrange(9))
    own = ours.decode("uds", data)
    response = Response.from_payload(data)
    try:
        told = RoutineControl.interpret_response(response)
        theirs = (told.service_data.control_type_echo, told.service_data.routine_id_echo, told.service_data.routine_status_record.hex())
    except InvalidResponseException:
        theirs = None
    if theirs and theirs[0] not in (1, 2, 3):
        theirs = None  # no answer of a routine that the standard defines
    shown = None
    if "said" in own:
        one = own["said"][0]
        sub = {"started": 1, "stopped": 2, "results": 3}[one["sub"]]
        shown = (sub, int(one["identifier"], 16), one["status"].lower())
    ours.compare(data.hex(), shown, theirs)


def negative(ours):
    service = ours.random.choice([0x10, 0x11, 0x14, 0x19, 0x22, 0x27, 0x2E, 0x2F, 0x31, 0x3E])
    data = bytes([0x7F, service, ours.random.randrange(1, 256)])
    response = Response.from_payload(data)
    one = ours.decode("uds", data)["said"][0]
    theirs = (response.positive, response.service.request_id(), response.code)
    ours.compare(data.hex(), (False, one["service"], one["nrc"]), theirs)


def cut(ours):
    data = bytes([0x7F, 0x31])[: ours.random.randrange(1, 3)]
    ours.compare(data.hex(), "fault" in ours.decode("uds", data), not Response.from_payload(data).valid)


def codes(ours):
    sub = ours.random.choice([0x02, 0x0A])
    data = bytes([0x59, sub, 0xFF]) + ours.bytes(4 * ours.random.randrange(8))
    data += ours.random.choice([b"", b"", b"\x12"])
    own = ours.decode("uds", data)
    try:
        told = ReadDTCInformation.interpret_response(
            Response.from_payload(data), subfunction=sub, tolerate_zero_padding=False, ignore_all_zero_dtc=True
        )
        theirs = [(one.id, one.status.get_byte_as_int()) for one in told.service_data.dtcs]
    except InvalidResponseException:
        theirs = None
    shown = None
    if "said" in own:
        shown = [(raw(one["code"]), one["status"]) for one in own["said"][0]["codes"]]
    ours.compare(data.hex(), shown, theirs)


def raw(code):
    """`C0035-11` as the three bytes it stands for."""
    head = "PCBU".index(code[0]) << 6 | int(code[1]) << 4 | int(code[2], 16)
    return head << 16 | int(code[3:5], 16) << 8 | int(code[6:8], 16)


def session(ours):
    data = bytes([0x50, ours.random.randrange(1, 5)]) + ours.bytes(4)
    told = DiagnosticSessionControl.interpret_response(Response.from_payload(data), standard_version=2020)
    own = ours.decode("uds", data)["said"][0]["is"]
    ours.compare(data.hex(), own, SESSIONS[told.service_data.session_echo])


def segmented(ours):
    """A routine's results of any length, cut into CAN frames by can-isotp, some padded, some disturbed."""
    message = bytes([0x71, 0x03, 0x02, 0x03]) + ours.bytes(ours.random.randrange(120))
    sent = []
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E8, rxid=0x7E0)
    params = {"tx_padding": ours.random.choice([None, 0x00, 0xAA, 0xCC])}
    wait = lambda timeout: isotp.CanMessage(arbitration_id=0x7E0, data=b"\x30\x00\x00") if len(sent) == 1 else None
    layer = isotp.TransportLayerLogic(
        rxfn=wait, txfn=lambda frame: sent.append(bytes(frame.data)), address=address, params=params
    )
    layer.send(message)
    for _ in range(200):
        layer.process(rx_timeout=0)
        if not layer.transmitting():
            break
    own = ours.decode("iso_tp_can", b"".join(sent))
    shown = own.get("said", [{}])[0].get("status")
    ours.compare(message.hex(), shown, message[4:].hex().upper())
    if len(sent) > 2:
        lost = sent[:]
        del lost[ours.random.randrange(1, len(lost) - 1)]
        ours.compare(f"lost frame of {message.hex()}", "fault" in ours.decode("iso_tp_can", b"".join(lost)), True)


def main():
    ours = Ours()
    names(ours)
    services(ours)
    for _ in range(2_000):
        routine(ours)
        negative(ours)
        codes(ours)
        session(ours)
    for _ in range(50):
        cut(ours)
    for _ in range(1_000):
        segmented(ours)
    ours.end("UDS decoding against udsoncan and can-isotp", 9_000)


main()
