"""What stands on every paper."""

CAUTION = (
    "beepwatch is an extra pair of ears. It is not tested or approved as a medical device, and never in place of the "
    "device's own alarms, a monitor or an awake caregiver. A device that is off makes no sound: silence does not mean "
    "all is well."
)
