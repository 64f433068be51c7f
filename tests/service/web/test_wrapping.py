"""Round every answer: what the service says when it ends while it works on one."""

import asyncio
import json

from service.web.wrapping import Wrapping


def test_what_is_asked_as_the_service_ends_is_told_to_come_again():
    sent = []

    async def never_done(*_):
        await asyncio.Event().wait()

    async def ask():
        async def send(message):
            sent.append(message)

        scope = {"type": "http", "method": "GET", "path": "/api/logs", "headers": []}
        asked = asyncio.ensure_future(Wrapping(never_done)(scope, None, send))
        await asyncio.sleep(0)
        asked.cancel()
        await asked

    asyncio.run(ask())

    assert sent[0]["status"] == 503
    assert "ending" in json.loads(sent[1]["body"])["error"]["message"]
