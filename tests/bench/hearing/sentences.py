"""What people say in the room that isn't a command. Two sets: one to tune on, one to report on."""

from __future__ import annotations

CHAT = {
    "tune": (
        "did you see the rota for next week", "i think the kettle is on", "could you pass me that box please",
        "my back is killing me today", "what time does the courier come", "we should order more wipes soon",
        "the lift is broken again", "how was your weekend", "can you hear that noise as well",
        "i'll be done in about ten minutes", "the phone has been ringing all morning", "have you had lunch yet",
        "it's much warmer in here than yesterday", "someone left the lights on", "there's a parcel at the front desk",
        "she said the meeting moved to friday", "remind me to call the vet", "is that the new trolley",
        "the label on this one is upside down", "that was a long night", "we had three dogs in before noon",
        "he always parks in the wrong place", "could somebody get the door", "i need a new pair of shoes",
        "the printer is out of paper", "let me think about it for a moment", "you can leave that on the bench",
        "i don't know where the keys are", "they changed the form again", "well that took a while",
    ),
    "report": (
        "who is on call this evening", "the fridge alarm went off twice last night", "that coffee smells wonderful",
        "please tell him i called back", "we are short of gloves in the small size", "the weather looks dreadful",
        "do you want to swap shifts on monday", "i can't find my glasses anywhere", "the bins need emptying",
        "what did the inspector say", "there was a queue right around the corner", "it should arrive by wednesday",
        "nobody told me about the training", "she will be back after the holiday", "my screen went black again",
        "just put it over there by the sink", "i read something about that yesterday", "the cat is doing much better",
        "are you going to the party", "this chair needs fixing", "he wants the report by noon",
        "the car park was full this morning", "i would rather have tea", "somebody should water the plants",
        "it's only another hour", "we have been waiting for that part since june", "give me a hand with this lid",
        "what a strange sound", "the last one was better", "you look tired today",
    ),
}

# Sentences with a command inside: none of them is a command.
INSIDE = {
    "tune": (
        "please confirm the booking with her", "i had to repeat the whole thing twice", "don't stop now we are nearly there",
        "can you cancel my appointment", "the result was negative thank goodness", "we ran into some trouble on the road",
        "how long have you been here", "he wants to resume the project", "go back to what you said before",
        "i'll stand by the window", "the computer is slow today", "there is a dry surface over there",
        "say again what she told you", "i can help me and you both", "close the enclosure when you leave",
        "the answer was affirmative i think", "we need an affirmative from the lab first",
    ),
    "report": (
        "did they confirm it in writing", "stop worrying about the schedule", "i never repeat gossip",
        "you may cancel at any time", "a negative answer is fine as well", "no trouble at all she said",
        "how long is the drive from here", "they will resume after lunch", "let's go back to the office",
        "stand by me as the song goes", "my computer needs an update", "put it on the dry surface next to the sink",
        "the fire alarm test is on thursday", "someone dropped item twelve off the list", "hand over the parcel please",
        "she nodded in the affirmative", "was that an affirmative or not",
    ),
}

# Lines such as the assistant itself speaks.
PROMPTS = {
    "tune": (
        "wipe the work area from top to bottom", "keep the surface wet for five minutes", "two minutes left on the purge",
        "say affirmative when the door is closed", "i heard repeat is that right", "the inner door stays closed until then",
        "step four of twelve", "now wet the viewing window", "say affirmative or negative",
    ),
    "report": (
        "open the outer door of the airlock", "the contact time is over", "wet it again now before it dries",
        "say stop at any time to make it safe", "say affirmative when every surface is wet", "the purge ends in ninety seconds",
        "put the used wipe into the waste bag", "that is noted the supervisor will see it",
        "say affirmative for yes or negative for no",
    ),
}

# Alone, and nearly a word that confirms. None of the set to report on is among the pack's rivals.
NEARLY_CONFIRMING = {
    "tune": (
        "can fern", "conformist", "confirmer", "comb form", "come for me", "kind of firm", "i am firm", "iron firm", "contour",
        "i can affirm", "consort", "confirm it", "come first", "conform", "i confer", "i conform", "confide", "come firm",
        "confirmed", "i can form", "white mouse", "viking now", "whipping now", "wiping town", "waiting now", "writing now",
        "why not now", "wiping down", "biting now", "all went again", "all set again", "wallet again", "all weather again",
        "all wet now", "affirmation", "informative", "a formative", "performative", "alternative", "affirming it", "relative",
        "normative", "i'm a native", "a firm native", "a farmer's wife", "affirmed", "affirm that", "a native", "firm motive",
        "affection", "initiative", "lucrative", "imaginative",
    ),
    "report": (
        "infirm", "affirm", "i affirm", "conifer", "configure", "cone fern", "calm firm", "gun firm", "can firm", "i can firm",
        "i can farm", "i conferred", "confirm him", "come on firm", "i confound", "from", "i can tell him", "kind for him",
        "confidant", "conformity", "riding now", "typing now", "hyping now", "ripping now", "wiping snow", "wiping how",
        "striping now", "wiper now", "swiping down", "wiping up now", "all met again", "always again", "alert again",
        "all wetter again", "all bread again", "transformative", "reformative", "operative", "a firm it is", "affirm it with",
        "for the native", "a thermal tip", "informatics", "confirmative", "a formal give", "preparative", "a firm leave",
        "affirm and give", "determinative", "a firmer give", "generative", "a ferment if",
    ),
}
