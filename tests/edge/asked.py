"""Asks the application in process, as its owner or as a phone."""

import asyncio

import httpx

HOME = "http://127.0.0.1:8372"
PHONE = ("192.0.2.7", 50_000)  # RFC 5737: an address of no machine
TOKEN = "a-token-of-the-tests"


def ask(application, path, method="GET", client=("127.0.0.1", 1), base=HOME, **more):
    async def asking():
        transport = httpx.ASGITransport(app=application, client=client)
        async with httpx.AsyncClient(transport=transport, base_url=base) as browser:
            return await browser.request(method, path, **more)

    return asyncio.run(asking())
